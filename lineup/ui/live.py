"""Long searches in the background: begun on one page, watched from any, stopped by anybody; reloads do not end them."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import streamlit as st

from lineup.jobs import Job, Jobs
from lineup.plan import Assignment, Plan
from lineup.report.charts import search_progress
from lineup.report.party import name_of
from lineup.season import Absence, Season
from lineup.ui.opened import Opened, season_path, study_of
from lineup.ui.show import figures, note, picture, plain

if TYPE_CHECKING:  # what computes brings the solvers' libraries: it is loaded in the thread, not by the page
    from lineup.explain.absences import Return
    from lineup.explain.injury import Option, Replan

T = TypeVar("T")
POLL_S = 0.5
HEAD_START_S = 0.3  # the page that asks is drawn first
STOP = "Stop and take the best so far"
POINTS = 200  # of a search's progress, enough for a line


def jobs() -> Jobs:
    """Return the searches of this server on the season that is looked at; every session sees the same."""
    return jobs_of(str(season_path()))


def jobs_of(season: str) -> Jobs:
    """Return the searches on one season: drafts of another never turn up beside its plans."""
    return _jobs_by_season().setdefault(season, Jobs())


@st.cache_resource(show_spinner=False)
def _jobs_by_season() -> dict[str, Jobs]:
    return {}


def plans() -> tuple[Job, ...]:
    """Return the ended searches that hold a plan, newest first."""
    return tuple(job for job in reversed(jobs().ended()) if isinstance(job.result, Plan))


def start_plan(
    found: Opened,
    season: Season,
    weekends: tuple[str, ...],
    title: str,
    start: Sequence[Assignment] | None = None,
) -> str:
    """Begin to plan a block of a season, which may hold what-ifs, and return the job's id."""

    def work(report: Any, stopped: Any) -> Plan:
        from lineup import workflow

        return workflow.make_plan(study_of(found, season, weekends), on_progress=report, stop=stopped, start=start)

    return jobs().start(title, work).id


def start_priorities(found: Opened, season: Season, plan: Plan, priorities: Mapping[str, float], title: str) -> str:
    """Begin to plan a block with other priorities of cars, starting at a plan, and return the job's id."""

    def work(report: Any, stopped: Any) -> Plan:
        from lineup import workflow

        study = study_of(found, season, plan.weekends)
        return workflow.plan_with_priorities(study, priorities, report, stopped, plan.assignments)

    return jobs().start(title, work).id


def start_replan(
    found: Opened, season: Season, plan: Plan, out: Absence | Return, signed: Sequence[str], on_site: Sequence[str]
) -> str:
    """Begin to plan again around an absence, or a return step by step, and return the job's id."""
    returns = [] if isinstance(out, Absence) else [out]
    absences = [out] if isinstance(out, Absence) else []

    def work(report: Any, stopped: Any) -> Any:
        from lineup import workflow

        study = study_of(found, season, plan.weekends)
        return workflow.replan_without(
            study, plan, absences, signed, on_site, returns, on_progress=report, stop=stopped
        )

    return jobs().start(f"without {name_of(season, out.athlete)}", work).id


def start_option(found: Opened, season: Season, plan: Plan, told: Replan, option: Option) -> str:
    """Begin to turn one way of a re-plan into a whole plan, on the season as it is by now; return the job's id."""

    def work(*_: Any) -> Plan:
        from lineup import workflow
        from lineup.read import read_season

        made = workflow.plan_of_option(study_of(found, season, plan.weekends), told, option)
        ramps = (back.text(season) for back in told.returns)
        by_now = read_season(found.path)[0]  # the absence was written into it meanwhile
        return made.replace(fingerprints=by_now.fingerprints, notes=(*made.notes, *ramps))

    names = ", ".join(name_of(season, absence.athlete) for absence in told.absences)
    return jobs().start(f"{option.label} without {names}", work).id


def start_drill(found: Opened, season: Season, plan: Plan) -> str:
    """Begin to lose every athlete once and return the job's id; progress holds how many are done, and of how many."""

    def work(report: Any, stopped: Any) -> Any:
        from lineup.explain.drill import drill

        study = study_of(found, season, plan.weekends)
        return drill(study, plan, on_progress=lambda _, done, of: report((done, of)), stop=stopped)

    return jobs().start("drill of the block", work).id


def later(key: tuple[Any, ...], words: str, make: Callable[[], T]) -> T | None:
    """Return an answer that takes seconds once it is there; until then say so, and let the page be used.

    The same key is worked out once, whoever asks.
    """
    job = _asked().get(key)
    if job is None:
        job = _asked()[key] = quiet().start(words, lambda *_: _after_the_page(make))
    if job.state == "failed":
        st.error(plain(job.error or "This could not be worked out."))
        st.button("Try again", key=f"again_{job.id}", on_click=_forget, args=(key,))
        return None
    if job.state == "running":
        st.fragment(_waiting, run_every=POLL_S)(job)
        return None
    answer: T | None = job.result
    return answer


def _after_the_page(make: Callable[[], T]) -> T:
    time.sleep(HEAD_START_S)
    return make()


def _forget(key: tuple[Any, ...]) -> None:
    _asked().pop(key, None)


def _waiting(job: Job) -> None:
    if job.state != "running":
        st.rerun(scope="app")
    note(f"{job.title}…")


@st.cache_resource(show_spinner=False)
def quiet() -> Jobs:
    """Return the background answers of this server, which nobody stops and no list of plans shows."""
    return Jobs(keep=100)


@st.cache_resource(show_spinner=False)
def _asked() -> dict[tuple[Any, ...], Job]:
    return {}


def running_elsewhere() -> None:
    """Tell of searches that are under way."""
    for job in jobs().running():
        st.info(f"Under way: {plain(job.title)}. A plan that is sought appears in the list of plans when it is there.")


def watch(key: str, shown: Callable[[Job], None] | None = None, stop: str = STOP) -> Job | None:
    """Show how a search goes until it has ended; then the whole page runs again.

    Parameters
    ----------
    shown : draws the progress of what is no search for a plan.
    stop : words of the button that stops it.
    """
    job = jobs().get(key)
    if job is None:
        st.warning("This search is unknown to the server: it was restarted. Begin it again.")
    elif job.state == "failed":
        st.error(plain(job.error or "The search failed."))
    elif job.state == "running":
        st.fragment(_watching, run_every=POLL_S)(job, shown or _plan_so_far, stop)
    return job


def _watching(job: Job, shown: Callable[[Job], None], stop: str) -> None:
    if job.state != "running":
        st.rerun(scope="app")
    st.markdown(f"**Under way: {plain(job.title)}**")
    shown(job)
    if st.button(stop, key=f"stop_{job.id}", icon=":material/stop_circle:"):
        job.stop()
        note("Stopping…")


def losses_so_far(job: Job) -> None:
    """Show how many losses of a drill were tried."""
    done, of = job.progress[-1] if job.progress else (0, 0)
    st.progress(done / of if of else 0.0, text=f"{done} of {of} losses tried" if of else "Beginning")


def _plan_so_far(job: Job) -> None:
    told = list(job.progress)
    last = told[-1] if told else None
    best, bound, gap = (None, None, None) if last is None else (last.value_s, last.bound_s, last.gap)
    figures(
        (
            ("Best plan so far", _seconds(best), "weighted seconds, forecast"),
            ("No plan costs less than", _seconds(bound), "proven so far"),
            ("Gap", "–" if gap is None else f"{gap:.2%}", "so much better another plan could be at most"),
        )
    )
    if told:
        step = max(1, len(told) // POINTS)
        picture(search_progress([(p.seconds, p.value_s, p.bound_s) for p in told[::step]]), f"progress_{job.id}")


def _seconds(value: float | None) -> str:
    return "–" if value is None else f"{value:,.1f} s"
