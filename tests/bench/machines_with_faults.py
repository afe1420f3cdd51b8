"""Motors that have a fault, by the whole prediction of such a motor: from keys of the design file wherever there is
one, else from copper that is laid and walked anew; never from what judges the readings."""

from dataclasses import replace
from math import pi

import numpy as np

import pcbstator
from pcbstator.analysis.magnetic.as_built import one_magnet
from pcbstator.analysis.magnetic.rotor_field import rotor_iron
from pcbstator.analysis.mechanical.built_results import built_results
from pcbstator.bench.machine_state import ClosedLoops, MachineState, machine_state
from pcbstator.copper import Track
from pcbstator.copper.current_paths import CoilVisit

NINETY = 1.645  # standard deviations that hold 90 % either way
TOLERANCES = 9  # what varies from motor to motor


def with_steps(copper, coil, change):
    """Copper whose paths go through a coil in another way: ``change`` of the visit, or None to leave it out."""

    def steps(path):
        found = [change(step) if isinstance(step, CoilVisit) and step.coil == coil else step for step in path.steps]
        return replace(path, steps=tuple(step for step in found if step is not None))

    phases = tuple(replace(phase, paths=tuple(map(steps, phase.paths))) for phase in copper.phases)
    return replace(copper, phases=phases)


def turned_round(coil):
    return lambda copper: with_steps(copper, coil, lambda visit: CoilVisit(visit.coil, not visit.forward))


def left_out(coil):
    return lambda copper: with_steps(copper, coil, lambda visit: None)


def first_path_open(copper):
    """Of the second phase."""
    first, second, *rest = copper.phases
    return replace(copper, phases=(first, replace(second, paths=second.paths[1:]), *rest))


def with_tracks(copper, change):
    """Copper of which every track is changed."""

    def changed(step):
        return change(step) if isinstance(step, Track) else step

    def coil(kind):
        return replace(kind, tracks=tuple(map(change, kind.tracks)))

    def path(way):
        return replace(way, steps=tuple(map(changed, way.steps)))

    phases = tuple(replace(phase, paths=tuple(map(path, phase.paths))) for phase in copper.phases)
    return replace(
        copper, coil=coil(copper.coil), further_coils=tuple(map(coil, copper.further_coils)), phases=phases,
        interconnects=tuple(map(change, copper.interconnects)),
    )  # fmt: skip


def layers_exchanged(one, other):
    """The images of two layers on each other's foil."""
    places = {one: other, other: one}
    return lambda copper: with_tracks(copper, lambda track: replace(track, layer=places.get(track.layer, track.layer)))


def wider(more):
    """Tracks etched wider by so much [m], each where it was drawn."""

    def change(track):
        widths = None if track.widths is None else track.widths + more
        return replace(track, width=track.width + more, widths=widths)

    return lambda copper: with_tracks(copper, change)


def tolerances(draw):
    """What varies, each in units in which 90 % lie within one."""
    return draw.standard_normal(TOLERANCES) / NINETY


def built(design, varied, change=None, strength=1.0, copper_k=0.0) -> MachineState:
    """The motor with values within its tolerances: the defaults, as the designs state none.

    varied: of ``tolerances``; change: of its copper; strength: of the magnets; copper_k: more than was written.
    """
    rotor, board = design.rotor, design.board
    keys = {
        "rotor.air_gap_mm": 1e3 * rotor.air_gap + 0.1 * varied[0],
        "board.outer_copper_um": 1e6 * board.outer_copper * np.exp(0.082 * varied[1]),
        "rotor.magnet.thickness_mm": 1e3 * rotor.magnet.thickness + 0.05 * varied[2],
        "board.thickness_mm": 1e3 * board.thickness * (1 + 0.1 * varied[7]),
    }
    if board.layers > 2:
        keys["board.inner_copper_um"] = 1e6 * board.inner_copper * np.exp(0.082 * varied[3])
    if design.bearing is not None and design.bearing.friction:
        keys |= friction(design, np.exp(0.3 * NINETY * varied[8]))
    other = design.with_values(keys)
    laid = wider(20e-6 * varied[6])(pcbstator.lay_copper(other))
    found = machine_state(other, laid if change is None else change(laid))
    warm = (1 + 0.00393 * (copper_k + 2.0 * NINETY * varied[4])) * found.resistance
    return replace(found, linkages=found.linkages * strength * (1 + 0.02 * varied[5]), resistance=warm)


def friction(design, factor):
    """Keys of a bearing with so many times the friction, at a standstill too."""
    names = {"friction_n_m", "standstill_friction_n_m"} & set(design.document["bearing"])
    return {f"bearing.{name}": factor * design.document["bearing"][name] for name in names}


def coil_machines(design, copper, varied):
    """Name of the fault and motor with it: of coils and what joins them."""
    coils = {name: [k for k, phase in enumerate(copper.coil_phases) if phase == name] for name in "ABC"}
    yield "coil_reversed", built(design, varied(), turned_round(coils["A"][-1]))
    yield "coil_shorted", with_bridge(design, varied(), coils["C"][-1], 2, None)
    yield "layer_shorted", with_bridge(design, varied(), coils["B"][-1], 1, whole_layer)
    yield "turn_shorted", with_bridge(design, varied(), coils["B"][-1], 1, middle_turn)
    if len(copper.phases[1].paths) > 1:
        yield "path_open", built(design, varied(), first_path_open)
    yield "connection", built(design.with_values({"winding.connection": "delta"}), varied())


def board_machines(design, varied):
    """The same of the board."""
    board = design.board
    inside = board.layers > 2
    for outer, inner in ((2.0, 2.0), (0.5, 0.5), (1.0, 0.5), (2.0, 1.0)):
        keys = {"board.outer_copper_um": 1e6 * outer * board.outer_copper}
        if inside:
            keys["board.inner_copper_um"] = 1e6 * inner * board.inner_copper
        elif outer != inner:
            continue
        yield "copper_weight", built(design.with_values(keys), varied())
    yield "layer_order", built(design, varied(), layers_exchanged(1, 2))
    yield "outer_copper", built(design.with_values({"board.outer_copper_um": 1.6e6 * board.outer_copper}), varied())
    if inside:
        yield "inner_copper", built(design.with_values({"board.inner_copper_um": 0.7e6 * board.inner_copper}), varied())
    yield "etch", built(design, varied(), wider(-0.2 * board.track_width))
    yield "layer_distance", built(design.with_values({"board.thickness_mm": 1.25e3 * board.thickness}), varied())
    yield "copper_temperature", built(design, varied(), copper_k=40.0)


def rotor_machines(design, varied):
    """The same of rotor and bearing."""
    rotor = design.rotor
    if rotor.arrangement == "double":  # nothing is left but what inaccurate parts leave
        found = built(design, varied())
        left = np.array([[0.004], [0.002], [0.007]])
        yield "like_poles", replace(found, linkages=found.linkages * left)
    yield "magnet_reversed", with_one_magnet_reversed(design, varied())
    if rotor.back_iron > 0:
        yield "steel_missing", built(design.with_values({"rotor.back_iron_mm": 0.0}), varied())
    gap, thick = 1e3 * rotor.air_gap, 1e3 * rotor.magnet.thickness
    yield "air_gap", built(design.with_values({"rotor.air_gap_mm": 1.6 * gap}), varied())
    yield "magnet_thickness", built(design.with_values({"rotor.magnet.thickness_mm": 0.7 * thick}), varied())
    yield "remanence", built(design, varied(), strength=0.8)
    if design.bearing is not None and design.bearing.friction:
        yield "friction", built(design.with_values(friction(design, 4.0)), varied())


def machines(design, copper, draw):
    """Name of the fault and motor with it, each with its own values within the tolerances."""

    def varied():
        return tolerances(draw)

    yield from coil_machines(design, copper, varied)
    yield from board_machines(design, varied)
    yield from rotor_machines(design, varied)


def whole_layer(points):
    """All of a coil's first track."""
    return 0, len(points) - 1


def middle_turn(points):
    """Where a turn in the middle of a coil's first track begins and ends."""
    x, y = (points - points.mean(axis=0)).T
    angle = np.abs(np.unwrap(np.arctan2(y, x)))
    turns = (angle - angle[0]) * np.sign(angle[-1] - angle[0]) / (2 * pi)
    first = int(turns[-1] / 2)
    return tuple(int(np.flatnonzero(turns >= place)[0]) for place in (first, first + 1))


def with_bridge(design, varied, coil, phase, part) -> MachineState:
    """A coil of a phase bridged, whole or a part of its first track, by whole predictions with it and without: what
    they differ by is what the bridged part has, which is closed in itself now. Its own inductance, which counts for
    little beside its resistance at the frequencies of the bench, is that of a wire ring of its area.
    """
    whole = built(design, varied)
    tracks = whole.work.laid[1].copper.coil.tracks
    first, last = whole_layer(tracks[0].shape) if part is None else part(tracks[0].shape)
    found = built(design, varied, left_out(coil) if part is None else shorter(coil, first, last))
    resistance = whole.resistance[phase, phase] - found.resistance[phase, phase]
    linkages = whole.linkages[phase] - found.linkages[phase]
    layers = len(tracks) if part is None else 1
    own = layers**2 * ring_inductance(tracks[0].shape[first : last + 1], tracks[0].width)
    mutual = whole.inductance[:, phase] - found.inductance[:, phase]
    mutual[phase] = (mutual[phase] - own) / 2
    loops = ClosedLoops(np.array([[resistance]]), np.array([[own]]), mutual[:, None], linkages[None])
    brake = float((np.abs(whole.orders * linkages) ** 2).sum() / 2 / resistance)
    return replace(found, loops=loops, drag=found.drag + brake)


def shorter(coil, first, last):
    """A coil without its first track between two of its points."""

    def change(copper):
        track = copper.coil.tracks[0]
        pieces = [piece for piece in (track.shape[: first + 1], track.shape[last:]) if len(piece) > 1]
        left = tuple(replace(track, shape=piece) for piece in pieces)
        kinds = [0] * len(copper.coil_angles)
        kinds[coil] = 1
        cut = replace(copper.coil, tracks=(*left, *copper.coil.tracks[1:]))
        return replace(copper, further_coils=(cut,), coil_templates=tuple(kinds))

    return change


def ring_inductance(points, width):
    """Of a flat spiral [H]: turns squared times mu0 a (ln(8 a / r) - 2), a ring of the same area, r a quarter of the
    track's width (Grover, Inductance Calculations, 1946, from memory)."""
    x, y = (points - points.mean(axis=0)).T
    turns = max(abs(np.unwrap(np.arctan2(y, x))[[0, -1]] @ [-1, 1]) / (2 * pi), 1.0)
    a = float(np.hypot(x, y).mean())
    return turns**2 * 4e-7 * pi * a * (np.log(8 * a / (width / 4)) - 2)


def with_one_magnet_reversed(design, varied) -> MachineState:
    """By the keys of [build], which counts reversed magnets."""
    found = built(design, varied)
    if design.rotor.arrangement == "double":  # the key counts for each rotor
        return with_one_of_two_reversed(found)
    wrong = design.with_values({
        "build.reversed_magnets": 1, "build.draws": 100, "build.remanence_spread_percent": 0.0,
        "build.magnet_angle_deg": 0.0, "build.board_bow_mm": 0.0, "build.rotor_run_out_mm": 0.0,
    })  # fmt: skip
    sized, work = machine_state(wrong).design, found.work
    results = built_results(sized, work.laid[1], work.magnetic, work.mechanical, 0.0)
    linkages = np.asarray(results.drawn(0)) * np.abs(found.linkages[0, 0]) / np.abs(work.magnetic.linkages[0, 0])
    return replace(found, orders=np.arange(1, linkages.shape[1] + 1), linkages=linkages)


def with_one_of_two_reversed(found) -> MachineState:
    """The fourth magnet of one of two rotors, by the linkages of one magnet in all orders up to seven pole pairs."""
    sized, conductors = found.design, found.work.laid[1]
    magnet = one_magnet(sized, conductors, rotor_iron(sized).layers)
    place = 2 * np.pi * 3 / sized.rotor.poles
    turned = 2.0 / 2 * np.exp(-1j * magnet.orders * place)  # it pointed up; each rotor gives half of the field
    linkages = magnet.phases["itself"] * turned
    for column, order in enumerate(found.orders):
        if order <= magnet.orders[-1]:
            linkages[:, order - 1] += found.linkages[:, column]
    return replace(found, orders=magnet.orders, linkages=linkages)
