"""Where the uncertainty comes from: closed forms through the code that a study uses, and a plan on paper."""

from __future__ import annotations

import json
from math import pi

import jsonschema
import numpy as np
import pytest
from scipy.stats import sobol_indices, uniform
from stopwatches import a_plan, pick, place, wait

from simbot.report.document import schema_text
from simbot.report.sourced import source_document, source_lines
from simbot.report.worthed import worth_document
from simbot.studies.asked import Asked
from simbot.studies.chaos import hermite, legendre, shares_of, terms_of
from simbot.studies.ledger import Ledger
from simbot.studies.sources import Source, Sources, Unknown, exact, sources_of, unknowns_of, wide
from simbot.studies.worth import worths

ASKED = Asked(20, 3, ("full",))
A, B = 7.0, 0.1  # of Ishigami's function, as in Homma and Saltelli (1996)


def silent(done, total):
    pass


def ishigami(x):
    return np.sin(x[0]) + A * np.sin(x[1]) ** 2 + B * x[2] ** 4 * np.sin(x[0])


def test_ishigami_s_function_has_its_closed_form():
    # Ishigami and Homma (1990): V1 = (1 + b pi^4 / 5)^2 / 2, V2 = a^2 / 8, V13 = b^2 pi^8 (1/18 - 1/50)
    one, two = (1 + B * pi**4 / 5) ** 2 / 2, A**2 / 8
    both = B**2 * pi**8 * (1 / 18 - 1 / 50)
    whole = one + two + both
    u = np.random.default_rng(4).uniform(-1, 1, (400, 3))
    found = shares_of(u, ishigami(pi * u.T), legendre)
    assert found.variance == pytest.approx(whole, rel=0.02)
    assert found.first == pytest.approx(np.array([one, two, 0.0]) / whole, abs=0.01)
    assert found.total == pytest.approx(np.array([one + both, two, both]) / whole, abs=0.01)
    # the estimators of scipy (Saltelli, 2010) come to the same
    other = sobol_indices(
        func=ishigami, n=4096, dists=[uniform(-pi, 2 * pi)] * 3, rng=np.random.default_rng(1)
    )
    assert found.first == pytest.approx(other.first_order, abs=0.03)
    assert found.total == pytest.approx(other.total_order, abs=0.03)


def test_a_line_with_noise_has_the_squares_of_its_slopes():
    rng = np.random.default_rng(2)
    z = rng.standard_normal((400, 5))
    slopes = np.array([3.0, 2.0, 1.0, 0.0, 0.0])
    found = shares_of(z, z @ slopes + 4.0 * rng.standard_normal(400))
    expected = slopes**2 / (slopes**2).sum()
    assert found.first == pytest.approx(expected, abs=0.1) and found.total == pytest.approx(expected, abs=0.1)
    assert found.variance == pytest.approx(14.0, rel=0.2) and found.unexplained == pytest.approx(
        16.0, rel=0.2
    )
    for k in range(3):
        low, high = found.first_interval[k]
        assert low < expected[k] < high


def test_noise_alone_has_no_sources():
    rng = np.random.default_rng(3)
    found = shares_of(rng.standard_normal((300, 8)), rng.standard_normal(300))
    assert found.variance < 0.05


def test_polynomials_are_orthonormal():
    nodes, weights = np.polynomial.hermite_e.hermegauss(20)
    table = hermite(nodes, 5)
    assert table * (weights / weights.sum()) @ table.T == pytest.approx(np.eye(6), abs=1e-9)
    nodes, weights = np.polynomial.legendre.leggauss(20)
    table = legendre(nodes, 5)
    assert table * (weights / 2) @ table.T == pytest.approx(np.eye(6), abs=1e-9)
    assert sorted(terms_of(2, 2, 2)) == [((0, 1),), ((0, 1), (1, 1)), ((0, 2),), ((1, 1),), ((1, 2),)]


def two_places(folder):
    """40 places of 1 point at 50 % ± 20 %, and 20 of the same box by the other grip at 50 % ± 20 %."""
    first = [pick(), wait("0.2 s"), place(succeeds="50 % ± 20 %"), wait("0.2 s")]
    second = [
        pick(by={"other": "shut"}), wait("0.2 s"), place(by={"other": "open"}, succeeds="50 % ± 20 %"), wait("0.2 s"),
    ]  # fmt: skip
    return a_plan(folder, [{"repeat": 40, "steps": first}, {"repeat": 20, "steps": second}])


def test_two_success_rates_share_the_uncertainty_as_their_places_do(tmp_path):
    plan = two_places(tmp_path)
    with Ledger("worth", [plan], ASKED) as ledger:
        found = sources_of(ledger, plan, ASKED, 250, silent)
    # points = 40 p + 20 q, sd of either rate 0.1: variances 16 and 4
    first, second = found.each
    assert first.unknown.rate and not first.unknown.assumed
    assert first.total == pytest.approx(0.8, abs=0.1) and first.first == pytest.approx(0.8, abs=0.1)
    assert second.total == pytest.approx(0.2, abs=0.1)
    assert found.sd == pytest.approx(20**0.5, rel=0.2)
    # what is left is binomial: 60 places at about 1/4
    assert found.luck_sd == pytest.approx(15**0.5, rel=0.25)


def test_what_is_not_known_is_found_and_taken_away(tmp_path):
    steps = [pick(), wait("0.3 s"), place(succeeds="85 %"), wait("0.3 s")]
    plan = a_plan(tmp_path, steps, robot={"mass": "5 kg ± 3 %"})
    assert [each.text for each in unknowns_of(plan, ("full",))] == ["mass: 5 kg ± 3 %"]
    mass, rate = unknowns_of(wide(plan), ("full",))
    assert not mass.rate and rate.rate and rate.assumed
    assert unknowns_of(exact(wide(plan)), ("full",)) == []


def test_the_report_and_the_document(tmp_path):
    plan = two_places(tmp_path)
    with Ledger("worth", [plan], ASKED) as ledger:
        result = worths(ledger, plan, {"same": plan}, None, ASKED, silent)
        sources = sources_of(ledger, plan, ASKED, 40, silent)
    lines = list(source_lines(sources))
    assert max(map(len, lines)) <= 80 and "Practise, and count, first: place into box" in " ".join(lines)
    document = json.loads(json.dumps({**worth_document(result), "uncertainty": source_document(sources)}))
    jsonschema.Draft202012Validator(json.loads(schema_text("worth"))).validate(document)
    assert sum(one["total"] for one in document["uncertainty"]["sources"]) > 0.9


def test_no_advice_comes_from_a_share_that_may_be_nothing():
    """10 % with 0 to 26 % is noise: nothing is called the first to measure, more matches are."""

    def told(low):
        unknown = Unknown(("battery", "resistance"), "battery resistance: 0.1 ohm", False, False)
        one = Source(unknown, 0.1, (low, 0.26), 0.1, (low, 0.26), 0.4)
        return " ".join(source_lines(Sources((one,), 1.2, 3.0, 64, 0)))

    assert "Measure first" not in told(0.0) and "--unknowns N" in told(0.0)
    assert "Measure first: battery resistance" in told(0.03)


def test_what_may_matter_more_for_all_that_is_known_is_named_beside_the_first():
    def told(low, rival):
        first = Unknown(("place", "box"), "place into box", True, False)
        second = Unknown(("pick", "bin"), "pick from bin", True, False)
        one = Source(first, 0.67, (low, 0.76), 0.67, (low, 0.76), 2.0)
        other = Source(second, 0.19, (0.05, rival), 0.19, (0.05, rival), 1.0)
        return " ".join(" ".join(source_lines(Sources((one, other), 1.2, 3.0, 64, 0))).split())

    assert "Practise, and count, first: place into box" in told(0.5, 0.4)
    assert "do not tell it from" not in told(0.5, 0.4)
    assert "do not tell it from pick from bin (19 %)" in told(0.03, 0.45)


def test_too_few_pairs_to_tell_anything_from_luck_say_so():
    """A variance of 0 is none that was found, and shares of it are none either."""
    one = Source(Unknown(("mass",), "mass: 5 kg", False, False), 0.0, (0.0, 0.0), 0.0, (0.0, 0.0), 0.0)
    told = " ".join(source_lines(Sources((one,), 0.0, 3.0, 16, 0)))
    assert (
        "16 pairs of matches are too few to tell" in told
        and "good to about" not in told
        and "0.0" not in told
    )
