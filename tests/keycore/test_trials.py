"""Trial plans: valid at the machine, best by brute force on small cases, honest about the rest."""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterator

import numpy as np
import pytest

from keycore.blanks import order_of
from keycore.chaincover import best_cover
from keycore.codes import Code
from keycore.refusal import Refusal
from keycore.spec import KeySpec, load_spec
from keycore.trials import TrialPlan, plan_trials

HARBOURSIDE = load_spec("Harbourside 5")


def drawn(rng: np.random.Generator, count: int, spec: KeySpec = HARBOURSIDE) -> list[tuple[Code, float]]:
    """Candidates around one code, with probabilities that leave some for "none of these"."""
    centre = rng.integers(2, len(spec.labels) - 2, spec.cuts_per_edge * spec.edge_count)
    codes: set[Code] = set()
    while len(codes) < count:
        steps = rng.integers(-2, 3, centre.size) * (rng.random(centre.size) < 0.5)
        depths = np.clip(centre + steps, 0, len(spec.labels) - 1)
        codes.add(tuple(spec.labels[d] for d in depths))
    weights = rng.exponential(size=count) ** 2
    weights *= rng.uniform(0.7, 1.0) / weights.sum()
    return list(zip(sorted(codes), weights.tolist(), strict=True))


def partitions(items: list[int]) -> Iterator[list[list[int]]]:
    """All ways to part a list."""
    if not items:
        yield []
        return
    for rest in partitions(items[1:]):
        yield [[items[0]], *rest]
        for i in range(len(rest)):
            yield [*rest[:i], [items[0], *rest[i]], *rest[i + 1 :]]


def cost_by_walking(sequence: list[tuple[int, float]], none: float) -> tuple[float, float]:
    """(blanks, trials) on average of (blank number, probability) steps: each candidate in turn is the right one."""
    blanks = sum(p * len({b for b, _ in sequence[: i + 1]}) for i, (_, p) in enumerate(sequence))
    trials = sum(p * (i + 1) for i, (_, p) in enumerate(sequence))
    return blanks + none * len({b for b, _ in sequence}), trials + none * len(sequence)


def best_by_brute_force(candidates: list[tuple[Code, float]]) -> tuple[float, float]:
    """Least (blanks, trials) over all parts into chains and all orders of the chains."""
    depths = [tuple(HARBOURSIDE.labels.index(x) for x in code) for code, _ in candidates]
    order = order_of(depths)
    none = 1 - sum(p for _, p in candidates)
    best = (np.inf, np.inf)
    for parts in partitions(list(range(len(candidates)))):
        chains = [sorted(part, key=lambda i: sum(depths[i])) for part in parts]
        if not all(order[a, b] for chain in chains for a, b in itertools.pairwise(chain)):
            continue
        for ranked in itertools.permutations(chains):
            walk = [(number, candidates[i][1]) for number, chain in enumerate(ranked) for i in chain]
            blanks, trials = cost_by_walking(walk, none)
            best = min(best, (round(blanks, 10), trials))
    return best


def follow_at_the_machine(plan: TrialPlan, spec: KeySpec) -> None:
    """Cut real (made-up) blanks step by step: nothing may ever have to grow, nothing may be cut that is not named."""
    blank: dict[int, float] = {}
    last_blank = 0
    for step in plan.steps:
        if step.fresh:
            assert step.blank == last_blank + 1
            last_blank, blank = step.blank, {}
        assert step.blank == last_blank
        for number in step.cut:
            assert step.roots_mm[number - 1] < blank.get(number, 99.0)
            blank[number] = step.roots_mm[number - 1]
        assert tuple(blank[n] for n in range(1, len(step.code) + 1)) == step.roots_mm
        assert step.roots_mm == tuple(spec.root_of(label) for label in step.code)


@pytest.mark.parametrize("seed", range(25))
def test_small_plans_are_the_best_that_brute_force_finds(seed: int) -> None:
    """Every part into chains in every order: the plan spends as few blanks, and then as few trials."""
    rng = np.random.default_rng(seed)
    candidates = drawn(rng, int(rng.integers(1, 7)))

    plan = plan_trials(candidates, HARBOURSIDE)

    blanks, trials = best_by_brute_force(candidates)
    assert plan.expected_blanks == pytest.approx(blanks, abs=1e-9)
    assert plan.expected_trials == pytest.approx(trials, abs=1e-9)
    assert plan.proved


@pytest.mark.parametrize("seed", range(12))
def test_where_several_plans_spend_as_few_blanks_the_fewest_trials_decide(seed: int) -> None:
    """Probabilities that are alike leave many plans with the same blanks: the one with fewest trials is given."""
    rng = np.random.default_rng(seed)
    drawn_codes = drawn(rng, int(rng.integers(2, 7)))
    candidates = [(code, float(rng.choice([0.1, 0.05]))) for code, _ in drawn_codes]

    plan = plan_trials(candidates, HARBOURSIDE)

    blanks, trials = best_by_brute_force(candidates)
    assert (plan.expected_blanks, plan.expected_trials) == pytest.approx((blanks, trials), abs=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_plan_costs_what_it_says_and_can_be_followed(seed: int) -> None:
    """Every candidate is tried once, and the averages are those of walking through the plan."""
    rng = np.random.default_rng(50 + seed)
    candidates = drawn(rng, 25)

    plan = plan_trials(candidates, HARBOURSIDE, seconds=3)

    follow_at_the_machine(plan, HARBOURSIDE)
    assert sorted(step.code for step in plan.steps) == sorted(code for code, _ in candidates)
    walk = [(step.blank, step.probability) for step in plan.steps]
    assert (plan.expected_blanks, plan.expected_trials) == pytest.approx(cost_by_walking(walk, plan.none_probability))
    assert plan.steps[-1].opened_by_now == pytest.approx(sum(p for _, p in candidates))
    assert plan.fewest_blanks <= plan.blanks


@pytest.mark.parametrize("seed", range(4))
def test_bound_holds_when_there_is_no_time_to_search(seed: int) -> None:
    """Stopped at once, the plan is valid and the stated bound is still below the best plan there is."""
    rng = np.random.default_rng(80 + seed)
    candidates = drawn(rng, 30)

    hasty = plan_trials(candidates, HARBOURSIDE, seconds=0)
    patient = plan_trials(candidates, HARBOURSIDE, seconds=60)

    follow_at_the_machine(hasty, HARBOURSIDE)
    assert hasty.bound_blanks <= patient.expected_blanks + 1e-9
    assert patient.expected_blanks <= hasty.expected_blanks + 1e-9
    assert patient.proved


def test_two_hundred_candidates_give_a_plan_and_a_bound_in_time() -> None:
    """Large lists are planned within the time given, with a bound close enough to be of use."""
    candidates = drawn(np.random.default_rng(7), 200, load_spec("Slipway 7"))

    plan = plan_trials(candidates, load_spec("Slipway 7"), seconds=2)

    follow_at_the_machine(plan, load_spec("Slipway 7"))
    assert 1 <= plan.bound_blanks <= plan.expected_blanks <= 1.15 * plan.bound_blanks


@pytest.mark.parametrize("seed", range(12))
def test_plans_from_a_key_already_begun_are_the_best_that_brute_force_finds(seed: int) -> None:
    """One blank more that costs nothing, on which only what is deeper can be cut; few trials come second."""
    rng = np.random.default_rng(400 + seed)
    candidates = drawn(rng, int(rng.integers(1, 6)))
    first = candidates[int(rng.integers(len(candidates)))][0]
    depths = [HARBOURSIDE.labels.index(label) for label in first]
    begun_mm = HARBOURSIDE.roots_mm[depths] + rng.choice([0.0, 0.5], len(depths))

    plan = plan_trials(candidates, HARBOURSIDE, begun_mm=begun_mm.tolist())

    none = 1 - sum(p for _, p in candidates)
    order = order_of([tuple(HARBOURSIDE.labels.index(x) for x in code) for code, _ in candidates])
    fits = [
        all(HARBOURSIDE.root_of(x) <= b + 1e-9 for x, b in zip(code, begun_mm, strict=True)) for code, _ in candidates
    ]
    best = np.inf
    for parts in partitions(list(range(len(candidates)))):
        chains = [sorted(part, key=lambda i: -sum(HARBOURSIDE.root_of(x) for x in candidates[i][0])) for part in parts]
        if not all(order[a, b] for chain in chains for a, b in itertools.pairwise(chain)):
            continue
        for ranked in itertools.permutations(chains):
            for free in (True, False):
                if free and not all(fits[i] for i in ranked[0]):
                    continue
                blanks = [number if free else number + 1 for number in range(len(ranked))]
                cost = none * blanks[-1] + sum(
                    candidates[i][1] * blank for blank, chain in zip(blanks, ranked, strict=True) for i in chain
                )
                best = min(best, cost)
    assert plan.expected_blanks == pytest.approx(best, abs=1e-9)
    assert plan.proved and plan.fewest_blanks <= plan.blanks
    assert [step.number for step in plan.steps] == list(range(1, len(candidates) + 1))
    assert {step.blank for step in plan.steps if step.fresh} == set(range(1, plan.blanks + 1))
    now = dict(enumerate(begun_mm, 1))
    for step in plan.steps:
        if step.blank == 0:
            for number in step.cut:
                assert step.roots_mm[number - 1] < now[number]
                now[number] = step.roots_mm[number - 1]
            assert tuple(now.values()) == pytest.approx(step.roots_mm)


def test_words_of_a_plan_that_starts_on_a_key_already_begun() -> None:
    """What is there is tried first, then deepened; a fresh blank is for what cannot be cut on it."""
    candidates = [(tuple("12355"), 0.5), (tuple("13365"), 0.25), (tuple("02355"), 0.2)]
    plan = plan_trials(candidates, HARBOURSIDE, begun_mm=[7.71, 7.2, 6.7, 5.7, 5.69])

    lines = plan.text().splitlines()
    assert lines[0].startswith("On the key already begun: leave it as it is, that is 1-2-3-5-5")
    assert lines[2].startswith("  Not yet: deepen cuts 2 and 4, that is 1-3-3-6-5")
    assert lines[4].startswith("Blank 1: cut 0-2-3-5-5")
    assert plan.expected_blanks == pytest.approx(0.25) and "0.25 fresh blanks" in lines[6]
    assert json.loads(json.dumps(plan.to_json()))["begun_mm"] == [7.71, 7.2, 6.7, 5.7, 5.69]


def test_what_did_not_open_is_left_out_and_the_rest_is_likelier() -> None:
    """Bayes' rule: the others keep their proportions and gain what the tried ones had."""
    candidates = [(tuple("12355"), 0.5), (tuple("13365"), 0.25), (tuple("02355"), 0.2)]
    plan = plan_trials(candidates, HARBOURSIDE, tried=[tuple("12355"), tuple("00000")])

    assert [(step.code, step.probability) for step in plan.steps] == [
        (tuple("02355"), pytest.approx(0.4)),
        (tuple("13365"), pytest.approx(0.5)),
    ]
    assert plan.none_probability == pytest.approx(0.1)
    with pytest.raises(Refusal, match="tried already"):
        plan_trials(candidates, HARBOURSIDE, tried=[code for code, _ in candidates])


@pytest.mark.parametrize("begun_mm", [[7.7, 7.2], [7.7, 7.2, 6.7, 5.7, -1.0], [7.7, 7.2, 6.7, 5.7, float("nan")]])
def test_a_begun_key_that_cannot_be_is_refused(begun_mm: list[float]) -> None:
    """Another count of cuts, or no height at all."""
    with pytest.raises(Refusal, match="already begun"):
        plan_trials([(tuple("12355"), 0.5)], HARBOURSIDE, begun_mm=begun_mm)


def test_fewest_blanks_on_average_may_take_one_blank_more() -> None:
    """The two goals differ: four likely codes on one blank and two left over beat two middling blanks."""
    # two blanks would do: (1,1) (2,2) (2,6) and (3,0) (4,4) (5,5); they would be spent with 1.5 on average
    codes = [(1, 1), (2, 2), (4, 4), (5, 5), (3, 0), (2, 6)]
    weights = np.array([0.24, 0.24, 0.24, 0.24, 0.02, 0.02])

    cover = best_cover(order_of(codes), weights)

    assert cover.fewest_blanks == 2
    assert cover.chains == ((0, 1, 2, 3), (4,), (5,))
    assert cover.expected_blanks == pytest.approx(1.06)
    assert cover.proved


def test_key_of_five_cuts_can_be_cut_on_to_one_of_six() -> None:
    """Where a table has keys of five and of six cuts, a place without a cut is the shallowest of all."""
    spec = load_spec("Ferry 5 or 6")
    plan = plan_trials([(tuple("33456"), 0.6), (tuple("334562"), 0.3), (tuple("234562"), 0.1)], spec)

    follow_at_the_machine(plan, spec)
    assert plan.blanks == 2
    second = plan.steps[1]
    assert (second.code, second.cut, second.fresh) == (tuple("334562"), (6,), False)


def test_place_without_a_cut_lies_at_the_bow_for_a_key_gauged_from_the_tip() -> None:
    """A shorter key gauged from the tip lacks the cuts nearest to the bow."""
    spec = load_spec("SFIC A4 (from memory)")
    plan = plan_trials([(tuple("23232"), 0.6), (tuple("123232"), 0.3)], spec)

    assert [(step.blank, step.cut) for step in plan.steps] == [(1, (1, 2, 3, 4, 5)), (1, (1,))]


def test_independent_edges_name_the_edge_of_each_cut() -> None:
    """A cut is named by its number on its own edge."""
    spec = load_spec("Lantern 5")
    plan = plan_trials([(tuple("1234512345"), 0.5), (tuple("1334512355"), 0.4)], spec)

    assert "deepen cuts 2 of edge 1 and 4 of edge 2, that is 1-3-3-4-5 / 1-2-3-5-5" in plan.text()


def test_words_of_a_plan() -> None:
    """A person at the machine reads what to cut, what to deepen and what the odds are."""
    plan = plan_trials([(tuple("12355"), 0.5), (tuple("13365"), 0.25), (tuple("02355"), 0.2)], HARBOURSIDE)

    assert plan.text() == (
        "Blank 1: cut 0-2-3-5-5, that is 8.20 7.20 6.70 5.70 5.70 mm; try.\n"
        "    opens with 20.0 %; by now 20.0 %\n"
        "  Not yet: deepen cut 1, that is 1-2-3-5-5 (7.70 7.20 6.70 5.70 5.70 mm); try.\n"
        "    opens with 50.0 %; by now 70.0 %\n"
        "  Not yet: deepen cuts 2 and 4, that is 1-3-3-6-5 (7.70 6.70 6.70 5.20 5.70 mm); try.\n"
        "    opens with 25.0 %; by now 95.0 %\n"
        "On average 1.00 blank and 2.1 trials; at most 1 blank and 3 trials. "
        "No order spends fewer blanks on average.\n"
        "The chance that none of these codes is right is 5.0 %."
    )


def test_plan_as_json_can_be_written() -> None:
    """Every member is plain JSON, and the steps carry what a person needs."""
    plan = plan_trials([(tuple("12355"), 0.5)], HARBOURSIDE)

    written = json.loads(json.dumps(plan.to_json(), allow_nan=False))

    assert written["format"] == "trialplan/1"
    assert written["steps"][0]["code"] == ["1", "2", "3", "5", "5"]
    assert written["proved"] is True


@pytest.mark.parametrize(
    ("candidates", "words"),
    [
        ([], "no candidate code"),
        ([(tuple("12355"), 0.0)], "no candidate code"),
        ([(tuple("12355"), 0.5), (tuple("12355"), 0.1)], "1-2-3-5-5 is listed twice"),
        ([(tuple("12355"), 0.7), (tuple("12354"), 0.7)], "add up to 1.4000"),
        ([(tuple("12355"), float("nan"))], "between 0 and 1; 1-2-3-5-5 has nan"),
        ([(tuple("12359"), 0.5)], "Cut 5 of 1-2-3-5-9: depth '9' is not in table Harbourside 5"),
        ([(tuple("1235"), 0.5)], "number of cuts"),
    ],
)
def test_candidates_that_cannot_be_planned_are_refused(candidates: list[tuple[Code, float]], words: str) -> None:
    """Each in one sentence that says which and why."""
    with pytest.raises(Refusal, match=words):
        plan_trials(candidates, HARBOURSIDE)


def _drawn_depths(rng: np.random.Generator, count: int) -> list[tuple[int, ...]]:
    """Different codes of three cuts and four depths."""
    numbers = rng.choice(4**3, count, replace=False)
    return [(int(n) // 16, int(n) // 4 % 4, int(n) % 4) for n in numbers]


def _chain_covers(order: np.ndarray, codes: list[int], laid: tuple[tuple[int, ...], ...] = ()):
    """Every way to share the codes (shallow first) out over blanks."""
    if not codes:
        yield laid
        return
    code, *later = codes
    yield from _chain_covers(order, later, (*laid, (code,)))
    for place, chain in enumerate(laid):
        if order[chain[-1], code]:
            yield from _chain_covers(order, later, (*laid[:place], (*chain, code), *laid[place + 1 :]))


@pytest.mark.parametrize("seed", [3, 17, 42, 64, 103, 113])
def test_fewest_trials_decide_among_eight_and_nine_codes_too(seed: int) -> None:
    """Every cover of lists whose probabilities are often alike, blanks in every order that spends as few."""
    rng = np.random.default_rng(seed)
    codes = _drawn_depths(rng, int(rng.integers(8, 10)))
    weights = rng.choice([0.08, 0.04, 0.02], len(codes))
    none = float(rng.choice([0.0, 0.05]))
    order = order_of(codes)

    def cost(chains) -> tuple[float, float]:
        used = sorted(chains, key=lambda chain: (-round(sum(weights[list(chain)]), 12), len(chain)))
        masses = [sum(weights[list(chain)]) for chain in used]
        blanks = sum(place * mass for place, mass in enumerate(masses, 1)) + len(used) * none
        tried = [code for chain in used for code in chain]
        return round(blanks, 9), round(sum(n * weights[c] for n, c in enumerate(tried, 1)) + len(tried) * none, 9)

    cover = best_cover(order, weights, none_probability=none)

    shallow = [int(code) for code in np.argsort(order.sum(axis=0), kind="stable")]
    assert cost(cover.chains) == min(map(cost, _chain_covers(order, shallow)))


def test_a_search_without_a_limit_tells_what_it_has_and_ends_with_a_proof() -> None:
    """Bounds only rise, plans only become better, and the last word is the plan that is given."""
    told: list[TrialPlan] = []
    plan = plan_trials(drawn(np.random.default_rng(106), 40), HARBOURSIDE, seconds=None, better=told.append)

    assert plan.proved and told
    costs, bounds = [p.expected_blanks for p in told], [p.bound_blanks for p in told]
    assert costs == sorted(costs, reverse=True) and bounds == sorted(bounds)
    assert plan.expected_blanks == pytest.approx(costs[-1])
    follow_at_the_machine(told[0], HARBOURSIDE)
