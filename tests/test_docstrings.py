"""The house rule for laws: units in brackets for every argument and the result, a source and a runnable example."""

import importlib
import inspect
import pkgutil
import re

import pytest

import pcbstator.physics

NO_UNIT_NEEDED = ("str", "bool", "Literal", "Callable")  # annotations of arguments that carry no quantity
UNIT = r"\[[^\[\]\n]{1,40}\]"


def public_laws():
    """Every public function that a module of pcbstator.physics defines."""
    for info in pkgutil.walk_packages(pcbstator.physics.__path__, "pcbstator.physics."):
        module = importlib.import_module(info.name)
        for name, function in inspect.getmembers(module, inspect.isfunction):
            if function.__module__ == info.name and not name.startswith("_"):
                yield pytest.param(function, id=f"{info.name.removeprefix('pcbstator.physics.')}.{name}")


def complaints(function) -> list[str]:
    """What the docstring of a law lacks."""
    text = inspect.getdoc(function) or ""
    prose, _, example = text.partition(">>>")
    missing = []
    for name, parameter in inspect.signature(function).parameters.items():
        if any(word in str(parameter.annotation) for word in NO_UNIT_NEEDED):
            if not re.search(rf"\b{name}\b", prose):
                missing.append(f"argument {name} is not described")
        elif not re.search(rf"\b{name}\b(?:(?!;|\.\s).)*?{UNIT}", prose, re.DOTALL):
            missing.append(f"argument {name} has no unit in brackets")
    if not re.search(rf"(?i)\b(?:returns?|results?)\b.*?{UNIT}", prose, re.DOTALL):
        missing.append("the result has no unit in brackets")
    if not re.search(r"(?i)\bsource:|\bsources:|derived here", prose):
        missing.append('no source ("Source: ..." or "derived here")')
    if not example.strip():
        missing.append("no example (>>>)")
    return missing


@pytest.mark.parametrize("function", list(public_laws()))
def test_law_says_units_source_and_example(function):
    assert not complaints(function)


def test_the_rule_can_fail():
    def bare(width: float, name: str) -> float:
        """Twice the width."""
        return 2 * width

    def good(width: float, name: str) -> float:
        """Twice the width.

        width: [m]; name: a word. Returns [m]. Source: derived here.

        >>> 1 + 1
        2
        """
        return 2 * width

    assert len(complaints(bare)) == 5
    assert not complaints(good)
