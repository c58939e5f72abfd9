"""Makes censored.json with lifelines 0.30; run by hand, not by the tests.

    pip install lifelines
    python tests/references/make_censored.py

lifelines: MIT licence; Davidson-Pilon 2019, J. Open Source Softw. 4(40):1317.
A censored regression of ln T on ln k (log-normal accelerated failure time, maximum likelihood) by
an independent library, on the times of the worked learning curve with three runs cut.
"""

from __future__ import annotations

import json
import math
from pathlib import Path

import lifelines
import pandas as pd

SECONDS = [612.0, 540.0, 600.0, 498.0, 430.0, 600.0, 401.0, 388.0, 350.0, 425.0, 300.0, 372.0]
CUT = [0, 0, 1, 0, 0, 1, 0, 0, 0, 0, 1, 0]


def main() -> None:
    table = pd.DataFrame(
        {
            "seconds": SECONDS,
            "ended": [1 - cut for cut in CUT],
            "ln_k": [math.log(number) for number in range(1, len(SECONDS) + 1)],
        }
    )
    fitter = lifelines.LogNormalAFTFitter()
    fitter.fit(table, "seconds", "ended", fit_options={"tol": 1e-12})
    b, a = (float(fitter.params_["mu_", name]) for name in ("ln_k", "Intercept"))
    made = {
        "library": f"lifelines {lifelines.__version__}",
        "seconds": SECONDS,
        "cut": CUT,
        "a": a,
        "b": b,
        "s": math.exp(float(fitter.params_["sigma_", "Intercept"])),
        "log_likelihood": float(fitter.log_likelihood_),
    }
    Path(__file__).with_name("censored.json").write_text(json.dumps(made, indent=1) + "\n")


if __name__ == "__main__":
    main()
