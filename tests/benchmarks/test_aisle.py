"""The simulation of the aisle: the same each time, and better in the program's order than in none."""

from benchmarks import aisle


def test_the_program_s_order_names_more_in_the_time_and_runs_repeat(monkeypatch):
    monkeypatch.setattr(aisle, "PARTS", 60)
    first = aisle.run(aisle.chosen, 0.0)
    assert first == aisle.run(aisle.chosen, 0.0)
    assert first[0] > aisle.run(aisle.at_random, 0.0)[0]
