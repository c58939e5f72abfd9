"""Par as JSON: times only, never a name or a place of a target."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from blindfield.console.own_legs import Walked
from blindfield.searcher.par import LABEL, Par
from blindfield.searcher.refit import Observed, Refit


def par_json(
    par: Par, about: Mapping[str, Any], made: Walked | None, refit: Refit | None
) -> dict[str, Any]:
    """Plain JSON values: the par, what it is of, the run `made` of it, whose pace it has."""
    data: dict[str, Any] = {"label": LABEL, "about": dict(about), "par": par.to_json()}
    if made is not None:
        whole_s = made.whole_s
        data["run"] = {
            "legs": [_leg(one, par.faster(one.seconds, one.leg)) for one in made.legs],
            "digging_s": {str(leg): seconds for leg, seconds in made.digging_s.items()},
            "whole_s": whole_s,
            "faster": None if whole_s is None else par.faster(whole_s),
        }
    if refit is not None:
        data["refit"] = refit_json(refit)
    return data


def refit_json(refit: Refit) -> dict[str, Any]:
    """Plain JSON values: the factors and the table of model against people."""
    return {
        "label": LABEL,
        "profile": refit.profile,
        "time": refit.pace.time,
        "time_95": [refit.time_low, refit.time_high],
        "spread": refit.pace.spread,
        "spread_fitted": refit.spread_fitted,
        "legs": [
            {
                "run": row.observed.label,
                **_leg(row.observed, row.faster),
                "model_median_s": row.model.median,
            }
            for row in refit.rows
        ],
    }


def _leg(leg: Observed, faster: float) -> dict[str, Any]:
    return {
        "leg": leg.leg,
        "seconds": leg.seconds,
        "broken_off": leg.censored,
        "faster": faster,
    }
