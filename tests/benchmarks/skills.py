"""How estimation grows with the number of grades: run `python -m tests.benchmarks.skills`.

Last result, on two shared cores: 4,722 grades in 0.92 s, 167,226 grades in 3.30 s, ratio per grade 0.10.
"""

from __future__ import annotations

from time import perf_counter

from lineup.skills import estimate_skills
from tests.skills.simulated import simulate


def main() -> None:
    """Time a small and a large season in one run, and print the ratio of their times per grade."""
    per_grade = []
    for athletes, most in ((40, 60), (200, 420)):
        season, _ = simulate(3, athletes=athletes, most=most)
        start = perf_counter()
        estimate_skills(season)
        seconds = perf_counter() - start
        per_grade.append(seconds / len(season.grades))
        print(f"{athletes} athletes, {len(season.grades)} grades: {seconds:.2f} s")
    print(f"time per grade, large over small: {per_grade[1] / per_grade[0]:.2f}")


if __name__ == "__main__":
    main()
