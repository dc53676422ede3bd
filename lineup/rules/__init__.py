"""What one athlete's schedule breaks and costs: rest, runs of weekends, counts, nights, travel, driving.

`schedule` answers the questions; `rest`, `counts` and `driving` hold one function per limit; `timeline` strings duties
and journeys together; `windows` gives solvers the linear part.
"""

from lineup.rules.schedule import RULES, Assessment, Breach, ScheduleRules
from lineup.rules.windows import Window

__all__ = ["RULES", "Assessment", "Breach", "ScheduleRules", "Window"]
