"""Pictures, page, text and table of a study, from made-up outcomes in a real store."""

import csv
import io
import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from math import isnan, nan
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from pcbstator.analysis.cost import invented_prices
from pcbstator.output.canvas.places import along, label_offsets
from pcbstator.output.study_report.csv_table import designs_csv
from pcbstator.output.study_report.figures import pareto_svg, sensitivity_svg
from pcbstator.output.study_report.page import explore_text, study_files
from pcbstator.output.study_report.parallel_axes import parallel_svg
from pcbstator.output.study_report.sweep_plots import sweep_svgs
from pcbstator.output.study_report.words import price_words
from pcbstator.study.confirm import Confirmation
from pcbstator.study.records import Constraint, Objective, Option, Outcome, Study, Variable
from pcbstator.study.results import Found, gather, pins
from pcbstator.study.store import open_store

SVG = "{http://www.w3.org/2000/svg}"
NASTY = 'Fan <b>&"quoted"</b> $x_1$ <script>'
TORQUE, COST, HEAT, HEIGHT = (
    "thermal.continuous_torque_n_m", "cost.total", "thermal.board_temperature_c", "occupied.height_mm",
)  # fmt: skip
GOALS = (Objective(TORQUE, "most"), Objective(COST, "least"), Objective(HEAT, "least"), Objective(HEIGHT, "least"))
TURNS = Variable("winding.turns", options=tuple(Option(str(n), (("winding.turns", n),)) for n in range(4, 10)))
WIDTH = Variable("board.track_width_mm", low=0.15, high=0.6)
GRADE = Variable(
    "magnets of <M3 & $M_4$>",
    options=tuple(
        Option(label, (("rotor.magnet.remanence_t", value), ("rotor.back_iron_mm", 2.0)))
        for label, value in (('"cheap" <one>', 1.2), ("strong & $dear$", 1.4))
    ),
    ordered=False,
)
PRICES = tuple(invented_prices().items())


def study_of(objectives: int, variables: tuple[Variable, ...] = (TURNS, WIDTH, GRADE), **changes: object) -> Study:
    made = Study(
        NASTY, "", "fan.toml", "", variables, (Constraint(TORQUE, "least", 0.02),), GOALS[:objectives], prices=PRICES
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def outcome_of(parts: list[float]) -> Outcome:
    """Smooth made-up results of where the variables lie, 0 to 1."""
    first, second = parts[0], parts[1] if len(parts) > 1 else 0.5
    torque, cost = 0.01 + 0.05 * first + 0.01 * second, 20 + 40 * first**2 + 10 * (second - 0.5) ** 2
    results = {TORQUE: torque, COST: cost, HEAT: 90 - 30 * second + 5 * first, HEIGHT: 8 + second * first}
    if torque < 0.02:
        reason = f"{TORQUE} at least 0.02"
        return Outcome(results, reason, f"{reason}; got {torque:.5g}, <too> little", 0.5)
    return Outcome(results)


def filled(folder: Path, study: Study, count: int = 120, change=lambda number, outcome: outcome):
    """The findings and the lines of the CSV file of a store with so many designs."""
    numbers = np.random.default_rng(1)
    points = [tuple(v.at(float(part)) for v, part in zip(study.variables, row, strict=True))
              for row in numbers.random((count, len(study.variables)))]  # fmt: skip
    outcomes = []
    for number, point in enumerate(points, start=1):
        parts = [variable.part(place) for variable, place in zip(study.variables, point, strict=True)]
        outcomes.append(change(number, outcome_of(parts)))
    with open_store(folder, study, "1") as store:
        store.add(1, points, outcomes)
        for best in gather(study, store).pareto_front:
            store.confirm(best.number, Confirmation("", 2, 1e-4, TORQUE))
        store.tell("finished", "1")
        return gather(study, store), list(designs_csv(study, store)), points, outcomes


def explore_html(found: Found, folder_name: str) -> str:
    return study_files(found, folder_name)["explore.html"]


class Page(HTMLParser):
    """Gathers ids, links, cells and tags."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.links: list[str] = []
        self.tags: list[str] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        self.tags.append(tag)
        self.ids += [found["id"]] if "id" in found else []
        self.links += [found["href"]] if tag == "a" else []

    def handle_data(self, data):
        self.words.append(data)


def links(picture: str) -> list[tuple[str, str]]:
    """Target and title of every link in a picture."""
    root = ElementTree.fromstring(picture)
    return [(a.attrib["href"], a.findtext(f"{SVG}title", "")) for a in root.iter(f"{SVG}a")]


@pytest.mark.parametrize("objectives", [1, 2, 3, pytest.param(4, marks=pytest.mark.slow)])
def test_every_design_of_the_front_is_named_linked_and_listed(tmp_path, objectives):
    found, *_ = filled(tmp_path, study_of(objectives))
    assert len(found.pareto_front) >= min(objectives, 2) if objectives > 1 else len(found.pareto_front) == 1
    files = study_files(found, "fan study")
    picture = files["pareto-front.svg"]
    panels = max(objectives * (objectives - 1) // 2, 1)
    by_number = {f"#design-{best.number}": best for best in found.pareto_front}
    shown = links(picture)
    assert sorted(target for target, _ in shown) == sorted([*by_number] * panels)
    for target, title in shown:
        best = by_number[target]
        assert title.splitlines()[0] == f"design {best.number}"
        assert f"{float(f'{best.results[TORQUE]:.4g}'):g} N·m" in title
        assert best.values[GRADE.name] in title and GRADE.name in title
    page = Page(files["explore.html"])
    rows = [name for name in page.ids if name.startswith("design-")]
    assert rows == [f"design-{best.number}" for best in found.pareto_front]
    assert len(page.ids) == len(set(page.ids))
    assert set(page.links) == {f"#{row}" for row in rows}
    assert f"pcbstator take 'fan study' {found.pareto_front[0].number} -o design.toml" in page.words


def test_a_front_of_thousands_is_drawn_and_listed_in_part(tmp_path):
    found, *_ = filled(tmp_path, study_of(4))
    large = replace(found, pareto_front=tuple(replace(found.pareto_front[n % 9], number=n + 1) for n in range(2500)))
    files = study_files(large, "fan")
    assert len(links(files["pareto-front.svg"])) == 6 * 500
    page = Page(files["explore.html"])
    rows = [name for name in page.ids if name.startswith("design-")]
    assert len(rows) == 1000 and rows[0] == "design-1" and rows[-1] == "design-2500"
    assert {target.removeprefix("#") for target in page.links} <= set(rows)
    assert any("1000 of the 2500 designs" in words for words in page.words)


def test_a_mark_of_the_front_stands_where_its_numbers_say(tmp_path):
    found, *_ = filled(tmp_path, study_of(2))
    marks = {}
    for link in ElementTree.fromstring(pareto_svg(found)).iter(f"{SVG}a"):
        use = link.find(f"{SVG}use")
        marks[int(link.attrib["href"].rpartition("-")[2])] = float(use.attrib["x"]), float(use.attrib["y"])
    places = np.array([marks[best.number] for best in found.pareto_front])
    values = np.array([(best.results[TORQUE], best.results[COST]) for best in found.pareto_front])
    for axis, sign in ((0, 1), (1, -1)):  # SVG counts downwards
        slope, start = np.polyfit(values[:, axis], places[:, axis], 1)
        assert slope * sign > 0
        assert places[:, axis] == pytest.approx(slope * values[:, axis] + start, abs=1e-3)


def test_words_of_the_user_are_escaped_everywhere(tmp_path):
    found, *_ = filled(tmp_path, study_of(2))
    page = Page(explore_html(found, "a & <b>"))
    assert "script" not in page.tags and "one" not in page.tags and "too" not in page.tags
    assert any(NASTY in words for words in page.words)
    assert any(GRADE.options[0].label in words for words in page.words)
    assert any("<too> little" in words for words in page.words)
    text = explore_text(replace(found, study=replace(found.study, title="a\x1b[31m")), "x")
    assert "\x1b" not in text


@pytest.mark.parametrize("objectives", [0, 1, 2, pytest.param(3, marks=pytest.mark.slow)])
def test_files_are_whole_alone_and_the_same_each_time(tmp_path, objectives):
    found, *_ = filled(tmp_path / "one", study_of(objectives))
    again, *_ = filled(tmp_path / "two", study_of(objectives))
    files = study_files(found, "fan")
    assert files == study_files(again, "fan")
    wanted = {"parallel.svg", "sensitivity.svg", "explore.html"} | ({"pareto-front.svg"} if objectives else set())
    assert {name for name in files if not name.startswith("sweep-")} == wanted
    assert any(name.startswith("sweep-") for name in files) == (objectives == 0)
    for name, content in files.items():
        if name.endswith(".svg"):
            assert ElementTree.fromstring(content).tag == f"{SVG}svg"
        outside = re.sub(r'xmlns(:\w+)?="[^"]*"', "", content)
        assert not re.search(r"https?:|//\w|@import|<script|<link|<img|src=", outside), name
        assert "url(#" not in content or not re.search(r"url\((?!#)", content)


@pytest.mark.usefixtures("unrendered")
def test_a_sweep_has_no_front_but_some_designs(tmp_path):
    found, *_ = filled(tmp_path, study_of(0), count=200)
    assert pareto_svg(found) is None
    page = Page(explore_html(found, "fan"))
    rows = [int(name.rpartition("-")[2]) for name in page.ids if name.startswith("design-")]
    assert len(rows) == 30 and set(rows) <= set(found.numbers.tolist())
    assert rows[0] == found.numbers[0] and rows[-1] == found.numbers[-1]
    assert not page.links and "The Pareto front" not in page.words
    assert "designs.csv" in page.words
    assert "on the Pareto front" not in explore_text(found, "fan")


def test_a_sweep_is_plotted_result_by_result_over_each_variable(tmp_path):
    """Two variables: a line for each value of the other, through the stored numbers; with three, points and middles."""
    study = study_of(0, variables=(TURNS, WIDTH))
    found, *_ = filled(tmp_path, study, count=40)
    pictures = sweep_svgs(found)
    assert {name.rpartition("-")[2] for name in pictures} == {"1", "2"}
    files = study_files(found, "fan")
    page = files["explore.html"]
    for name, picture in pictures.items():
        assert files[f"{name}.svg"].endswith(picture) and f'id="{name}-' in page
    assert page.index("What follows what") < page.index("All of it at once")
    search, *_ = filled(tmp_path / "search", study_of(2))
    assert sweep_svgs(search) == {}


def test_the_page_of_a_study_has_whole_commands_and_names_for_narrow_screens(tmp_path):
    found, *_ = filled(tmp_path, study_of(2))
    page = explore_html(found, "/home/me/my studies/fan")
    number = found.pareto_front[0].number
    command = f"pcbstator take &#39;/home/me/my studies/fan&#39; {number} -o design.toml"
    assert f'<code class="command">{command}</code>' in page
    row = re.search(rf'<tr id="design-{number}">(.*?)</tr>', page, re.DOTALL)[1]
    assert row.count("<td") == row.count('<td data-name="')


@pytest.mark.usefixtures("unrendered")
def test_rows_of_a_sweep_show_the_values_of_their_designs(tmp_path):
    study = study_of(0)
    found, _, points, _ = filled(tmp_path, study, count=20)
    page = explore_html(found, "fan")
    for number in found.numbers:
        row = re.search(rf'<tr id="design-{number}">(.*?)</tr>', page, re.DOTALL)[1]
        cells = re.findall(r"<td[^>]*>(.*?)</td>", row)
        point = points[number - 1]
        assert cells[0] == str(4 + point[0])
        assert float(cells[1]) == pytest.approx(point[1], rel=1e-3)


def test_a_study_without_any_feasible_design_still_has_a_page(tmp_path):
    def nothing(number, outcome):
        return replace(outcome, ruled_out="cost.total at most 1", detail="got 22", shortage=1.0)

    for objectives in (0, 2):
        found, *_ = filled(tmp_path / str(objectives), study_of(objectives), change=nothing)
        assert (pareto_svg(found), parallel_svg(found), sensitivity_svg(found)) == (None, None, None)
        assert set(study_files(found, "fan")) == {"explore.html"}
        words = Page(explore_html(found, "fan")).words
        assert any("No design meets everything" in each for each in words) and "cost.total at most 1" in words
        text = explore_text(found, "fan")
        assert "No design meets everything" in text and "cost.total at most 1" in text and "take" not in text


@pytest.mark.usefixtures("unrendered")
def test_a_front_of_unfit_designs_only_is_told_as_such(tmp_path):
    study = study_of(2)
    found, *_ = filled(tmp_path, study)
    bare = replace(found, pareto_front=(), unfit=found.feasible)
    assert pareto_svg(bare) is None
    assert "unfit" in explore_text(bare, "fan") and "take one" not in explore_text(bare, "fan")
    assert any("unfit to be made" in words for words in Page(explore_html(bare, "fan")).words)


def test_a_stopped_study_says_so(tmp_path):
    found, *_ = filled(tmp_path, study_of(2))
    for finished in (True, False):
        each = replace(found, finished=finished)
        assert ("stopped early" in explore_text(each, "fan")) is not finished
        assert ("stopped early" in explore_html(each, "fan")) is not finished


@pytest.mark.parametrize("objectives", [0, 2, *(pytest.param(n, marks=pytest.mark.slow) for n in (1, 3))])
def test_numbers_that_do_not_apply_leave_gaps(tmp_path, objectives):
    def gaps(number, outcome):
        lost = {HEAT: nan} if number % 3 == 0 else {}
        lost |= {TORQUE: nan} if number % 7 == 0 else {}
        return replace(outcome, results={**outcome.results, **lost, "copper.mass_g": nan})

    found, lines, _, outcomes = filled(tmp_path, study_of(objectives), change=gaps)
    files = study_files(found, "fan")
    for name, content in files.items():
        if name.endswith(".svg"):
            ElementTree.fromstring(content)
            assert "nan" not in re.sub(r"<!--.*?-->", "", content).lower(), name
    assert "nan" not in files["explore.html"].replace("finance", "").lower()
    table = list(csv.DictReader(io.StringIO("".join(lines))))
    for row, outcome in zip(table, outcomes, strict=True):
        assert (row[HEAT] == "") is isnan(outcome.results[HEAT])


def test_one_option_one_design_and_one_variable(tmp_path):
    only = Variable("board.layers", options=(Option("4", (("board.layers", 4),)),))
    for name, variables, count in (("a", (only, WIDTH), 60), ("b", (only,), 1), ("c", (WIDTH,), 3)):
        found, *_ = filled(tmp_path / name, study_of(2, variables), count, lambda _, made: Outcome(made.results))
        assert found.feasible == count
        assert len(links(pareto_svg(found))) == len(found.pareto_front)
        for picture in study_files(found, "fan").values():
            if picture.startswith("<?xml"):
                ElementTree.fromstring(picture)
        assert not any(variable.name == "board.layers" for variable, _ in pins(found))


def test_an_end_of_a_range_at_which_the_front_lies_is_told(tmp_path):
    found, *_ = filled(tmp_path, study_of(1))  # most torque: most turns
    (pin,) = [pin for pin in pins(found) if pin[0].name == "winding.turns"]
    assert pin[1] == "upper"
    assert "turns: the whole Pareto front lies at the upper end, 9; widen it" in explore_text(found, "fan")
    assert "turns: the whole Pareto front lies at the upper end, 9; widen it" in explore_html(found, "fan")
    both, *_ = filled(tmp_path / "two", study_of(2))
    assert not [pin for pin in pins(both) if pin[0].name == "winding.turns"]


def test_the_table_reads_back_to_the_stored_numbers(tmp_path):
    study = study_of(2)
    found, lines, points, outcomes = filled(tmp_path, study)
    table = list(csv.DictReader(io.StringIO("".join(lines))))
    assert len(table) == found.designs == len(points)
    front = {best.number for best in found.pareto_front}
    for number, (row, point, outcome) in enumerate(zip(table, points, outcomes, strict=True), start=1):
        assert int(row["number"]) == number
        assert row["state"] == ("feasible" if outcome.feasible else "ruled out")
        assert row["on_pareto_front"] == ("yes" if number in front else "no")
        assert float(row["winding.turns"]) == 4 + point[0] and float(row["board.track_width_mm"]) == point[1]
        assert row[GRADE.name] == GRADE.options[point[2]].label
        assert {key: float(row[key]) for key in outcome.results} == outcome.results
        assert (row["ruled_out"], row["detail"]) == (outcome.ruled_out, outcome.detail)
    assert {row["state"] for row in table} == {"feasible", "ruled out"}


def test_the_table_comes_line_by_line(tmp_path):
    study = study_of(2)
    filled(tmp_path, study)
    with open_store(tmp_path, study, "1") as store:
        lines = designs_csv(study, store)
        assert next(lines).startswith("number,state,on_pareto_front,winding.turns,")
        assert next(lines).startswith("1,")


def test_the_text_is_short_and_aligned(tmp_path):
    found, *_ = filled(tmp_path, study_of(3), count=300)
    assert len(found.pareto_front) > 12
    lines = explore_text(found, "fan").splitlines()
    numbers = {str(best.number) for best in found.pareto_front}
    first = next(place for place, line in enumerate(lines) if line.startswith("design ")) + 1
    rows = lines[first : first + 12]
    assert all(row.split()[0] in numbers for row in rows) and max(map(len, lines[:first])) <= 100
    assert lines[first + 12] == f"{len(found.pareto_front) - 12} more on the Pareto front: see explore.html"
    ends = {re.match(r" *\S+", line).end() for line in lines[first - 1 : first + 12]}
    assert ends == {len("design")}
    assert f"take one: pcbstator take fan {found.pareto_front[0].number} -o design.toml" in lines


def test_prices_are_called_invented_unless_stated(tmp_path):
    found, *_ = filled(tmp_path, study_of(2))
    assert price_words(found).startswith("All prices are invented")
    own = dict(PRICES) | {"magnet_each": 0.5}
    words = price_words(replace(found, study=replace(found.study, prices=tuple(own.items()))))
    assert "those of the study" in words and "board_setup" in words and "magnet_each" not in words
    every = {name: value if name == "currency" else value + 1 for name, value in PRICES}
    words = price_words(replace(found, study=replace(found.study, prices=tuple(every.items()))))
    assert "invented" not in words and words
    free = study_of(0, constraints=())
    found, *_ = filled(tmp_path / "free", free, change=lambda _, made: Outcome({HEIGHT: made.results[HEIGHT]}))
    assert price_words(found) == ""


def test_influences_stand_in_their_picture(tmp_path):
    found, *_ = filled(tmp_path, study_of(2))
    picture = sensitivity_svg(found)
    shares = {(each.variable, each.key): each for each in found.influences}
    cell = shares["winding.turns", TORQUE]
    assert cell.share > 0.8 and cell.direction > 0.8
    assert f"<!-- {100 * cell.share:.0f} % + -->" in picture
    assert sensitivity_svg(replace(found, influences=())) is None


def test_labels_of_a_front_cover_neither_its_points_nor_each_other():
    way = np.linspace(0, 1, 150)
    points = np.column_stack([400 * way, 300 * (1 - way) ** 2])
    sizes = np.full((150, 2), (22.0, 9.0))
    frame = np.array([-20.0, -20.0, 420.0, 320.0])
    placed = label_offsets(points, sizes, np.zeros((0, 2)), frame, along(points, 25))
    assert 15 <= len(placed) <= 25 and 0 in placed and 149 in placed
    boxes = [np.concatenate([points[i] + d - sizes[i] / 2, points[i] + d + sizes[i] / 2]) for i, d in placed.items()]
    for index, box in enumerate(boxes):
        assert (box[:2] >= frame[:2]).all() and (box[2:] <= frame[2:]).all()
        assert not ((points > box[:2]) & (points < box[2:])).all(axis=1).any()
        for other in boxes[:index]:
            assert not ((box[:2] < other[2:]) & (box[2:] > other[:2])).all()
    order = sorted(placed)
    gaps = [np.hypot(*(points[b] - points[a])) for a, b in pairwise(order)]
    assert max(gaps) < 4 * np.median(gaps)
