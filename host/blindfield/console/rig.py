"""`blindfield rig`: a practice field of device processes on this computer, and a hand on it."""

from __future__ import annotations

import argparse
import asyncio
import json
import signal
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from blindfield.links.sim.bench import MANNERS
from blindfield.model.errors import ConfigError, LinkBusy

if TYPE_CHECKING:
    from blindfield.links.rig.bus_rig import BusRig
    from blindfield.links.rig.rig import Rig

_MAX_TARGETS = 32
_MAX_V = 60.0
_SIGNALS = ("SIGINT", "SIGTERM", "SIGHUP")

_WELCOME = """\
Practice rig: {devices}, each the true firmware as a process of this computer.
Nothing transmits, nothing is buried: for learning, trying and testing only.

  field       {field}{kept}
  ports       {ports}
  run on it   blindfield run --field {field}
  a probe     blindfield rig probe 3 sharp{folder}
  more        blindfield rig --help

Ctrl-C ends the rig and its processes."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What can be done to a rig; without a further word it is started."""
    parser.epilog = "Needs x86_64 Linux and the extra `rig`."
    parser.set_defaults(folder=Path("rig"), targets=6, post=True, seed=1, bus=False, noise=0.0)
    commands = parser.add_subparsers(dest="rig_command", metavar="COMMAND", required=False)
    common = argparse.ArgumentParser(add_help=False)
    common.add_argument(
        "--folder", type=Path, default=Path("rig"), help="where the rig lives (default: ./rig)"
    )
    _add_start(commands, common)
    _add_acts(commands, common)
    state = commands.add_parser("state", parents=[common], help="what each device does now")
    state.add_argument("--json", action="store_true", help="as JSON")


def _add_start(commands: Any, common: argparse.ArgumentParser) -> None:
    start = commands.add_parser("start", parents=[common], help="start a rig; Ctrl-C ends it")
    start.add_argument("--targets", type=_count, default=6, help="how many targets (default: 6)")
    start.add_argument("--no-post", dest="post", action="store_false", help="leave out the post")
    start.add_argument("--seed", type=int, default=1, help="of clocks, bodies and probes")
    start.add_argument("--bus", action="store_true", help="all devices on one shared pair of wires")
    start.add_argument(
        "--noise", type=_chance, default=0.0, help="of the pair: chance of a byte to be garbled"
    )


def _add_acts(commands: Any, common: argparse.ArgumentParser) -> None:
    def act(name: str, text: str) -> argparse.ArgumentParser:
        parser: argparse.ArgumentParser = commands.add_parser(name, parents=[common], help=text)
        parser.add_argument("name", metavar="NAME", help="the device: 3, target-3, post")
        return parser

    probe = act("probe", "a probe comes down on a target, or beside it")
    probe.add_argument("manner", nargs="?", choices=MANNERS, default="sharp")
    probe.add_argument("--manner", dest="manner", choices=MANNERS, default=argparse.SUPPRESS)
    probe.add_argument("--strength", type=_positive, default=1.0, help="1 is the usual")
    act("knock", "the knock pattern on a target, by hand")
    act("lift", "hands take a target out of its hole")
    act("put-back", "the target goes back as it lay")
    battery = act("battery", "set a battery's voltage")
    battery.add_argument("volts", metavar="VOLTS", type=_volts)
    act("press", "the button of a device: silence; on a bus the post silences all by a break")
    act("babble", "a device on the bus sends junk without being asked")
    act("hush", "it stops that")
    noise = commands.add_parser("noise", parents=[common], help="noise on the bus")
    noise.add_argument("chance", metavar="CHANCE", type=_chance, help="of a byte to be garbled")
    act("cut-link", "nothing passes on a device's line any more")
    act("mend-link", "it passes again")
    act("reboot", "power off and on")
    power = act("cut-power", "the power fails in the middle of a write; `reboot` brings it back")
    power.add_argument("--after", metavar="BYTES", type=int, default=16, help="default: 16")
    detune = act("detune", "a device's clock goes wrong by so many parts per million")
    detune.add_argument("ppm", metavar="PPM", type=float)


def run(args: argparse.Namespace) -> int:
    """Carries the command out; 0 when done. Raises BlindfieldError."""
    command = args.rig_command or "start"
    if command == "start":
        return asyncio.run(_start(args))
    if command == "state":
        print(_state_text(_ask(args.folder, "state")["devices"], args.json))
        return 0
    given = vars(args)
    asked = ("name", "manner", "strength", "volts", "after", "ppm", "chance")
    _ask(args.folder, command, **{key: given[key] for key in asked if key in given})
    return 0


# The rig itself


async def _start(args: argparse.Namespace) -> int:
    from blindfield.conduct.owner import Owner
    from blindfield.field.starter import starter_field_text
    from blindfield.links.rig.bus_rig import BusRig
    from blindfield.links.rig.rig import Rig

    folder = args.folder.resolve()
    kept = (folder / "field.toml").exists()
    how = (folder, args.targets, int(args.post), args.seed, starter_field_text)
    rig = (
        BusRig(*how, on_report=_report, noise=args.noise)
        if args.bus
        else Rig(*how, on_report=_report)
    )
    rig.prepare()
    with _held(Owner, folder) as owner:
        try:
            await rig.start()
            ended = _until_told()
            for command, act in _ACTS.items():
                owner.handle(command, _handler(rig, act))
            await owner.serve()
            print(_welcome(args, folder, kept), flush=True)
            await ended.wait()
        finally:
            await owner.stop()
            await rig.stop()
    print("The rig is ended; none of its processes is left.", flush=True)
    return 0


def _held(owner: Any, folder: Path) -> Any:
    try:
        return owner.acquire(folder / "devices")
    except LinkBusy as error:
        remedy = "Use that one, end it with Ctrl-C, or give this one another --folder."
        raise LinkBusy(f"A rig runs in {folder} already.", remedy=remedy) from error


def _until_told() -> asyncio.Event:
    """Set when the user or the system asks this process to end."""
    ended = asyncio.Event()
    for name in _SIGNALS:
        asyncio.get_running_loop().add_signal_handler(getattr(signal, name), ended.set)
    return ended


def _report(sentence: str) -> None:
    print(sentence, flush=True)


def _welcome(args: argparse.Namespace, folder: Path, kept: bool) -> str:
    targets = "1 target" if args.targets == 1 else f"{args.targets} targets"
    return _WELCOME.format(
        devices=f"{targets} and a post" if args.post else targets,
        field=folder / "field.toml",
        kept=" (was there already: kept as it is)" if kept else "",
        ports=folder / "ports" / ("bus" if args.bus else ""),
        folder="" if args.folder == Path("rig") else f" --folder {args.folder}",
    )


Act = Callable[["Rig", Mapping[str, Any]], object]

_ACTS: dict[str, Act | None] = {
    "state": None,
    "probe": lambda rig, asked: rig.probe(asked["name"], asked["manner"], asked["strength"]),
    "knock": lambda rig, asked: rig.knock(asked["name"]),
    "lift": lambda rig, asked: rig.lift(asked["name"]),
    "put-back": lambda rig, asked: rig.put_back(asked["name"]),
    "battery": lambda rig, asked: rig.battery(asked["name"], round(1000 * asked["volts"])),
    "press": lambda rig, asked: rig.press(asked["name"]),
    "babble": lambda rig, asked: _on_bus(rig).babble(asked["name"]),
    "hush": lambda rig, asked: _on_bus(rig).babble(asked["name"], on=False),
    "noise": lambda rig, asked: _on_bus(rig).noise(asked["chance"]),
    "cut-link": lambda rig, asked: rig.cut_link(asked["name"]),
    "mend-link": lambda rig, asked: rig.mend_link(asked["name"]),
    "reboot": lambda rig, asked: rig.reboot(asked["name"]),
    "cut-power": lambda rig, asked: rig.cut_power(asked["name"], asked["after"]),
    "detune": lambda rig, asked: rig.detune(asked["name"], asked["ppm"]),
}


def _on_bus(rig: Rig) -> BusRig:
    from blindfield.links.rig.bus_rig import BusRig

    if not isinstance(rig, BusRig):
        remedy = "Start it with: blindfield rig start --bus"
        raise ConfigError("This rig has no shared pair.", remedy=remedy)
    return rig


def _handler(rig: Rig, act: Act | None) -> Any:
    async def handle(asked: Mapping[str, Any]) -> Mapping[str, Any]:
        if act is None:
            return {"devices": rig.state()}
        act(rig, asked)
        return {}

    return handle


# From another terminal


def _ask(folder: Path, command: str, **asked: Any) -> dict[str, Any]:
    from blindfield.conduct.owner import ask_owner

    reply = ask_owner(folder / "devices", command, **asked)
    if reply is None:
        remedy = f"Start one in another terminal: blindfield rig start --folder {folder}"
        raise ConfigError(f"No rig runs in {folder}.", remedy=remedy)
    return reply


def _state_text(devices: list[dict[str, Any]], as_json: bool) -> str:
    if as_json:
        return json.dumps(devices, indent=2)
    return "\n".join(_device_text(device) for device in devices)


def _device_text(device: Mapping[str, Any]) -> str:
    facts = [f"off: {device['off']}" if device["off"] else "runs"]
    facts.append("sends" if device["sending"] else "silent")
    facts.append(f"{device['battery_mv'] / 1000:.2f} V")
    facts.append(f"clock {device['ppm']:+.1f} ppm")
    if device["lifted"]:
        facts.append("out of its hole")
    if not device["link"]:
        facts.append("link cut")
    if device.get("babbles"):
        facts.append("talks without being asked")
    facts += [f"{word} {device[word]}" for word in ("light", "horn") if device[word]]
    return f"{device['name']:>8}  {', '.join(facts)}"


# What people type


def _count(text: str) -> int:
    return int(_within(text, 1, _MAX_TARGETS))


def _volts(text: str) -> float:
    return _within(text, 0.0, _MAX_V)


def _positive(text: str) -> float:
    return _within(text, 0.01, 100.0)


def _chance(text: str) -> float:
    return _within(text, 0.0, 1.0)


def _within(text: str, least: float, most: float) -> float:
    value = float(text)
    if not least <= value <= most:
        raise argparse.ArgumentTypeError(f"{text} is not from {least:g} to {most:g}")
    return value
