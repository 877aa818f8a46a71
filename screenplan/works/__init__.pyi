"""Where the names of this package stand, for type checkers; python -m docs.generate writes it."""

from screenplan.works.calendar import schedule_work as schedule_work
from screenplan.works.cost import price_work as price_work
from screenplan.works.fence import lay_fence as lay_fence
from screenplan.works.instead import compare_instead as compare_instead
from screenplan.works.quantities import count_material as count_material
from screenplan.works.stakeout import stake_out as stake_out

__all__ = [
    "compare_instead",
    "count_material",
    "lay_fence",
    "price_work",
    "schedule_work",
    "stake_out",
]
