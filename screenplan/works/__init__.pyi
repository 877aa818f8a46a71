"""Where the names of this package stand, for type checkers; python -m docs.generate writes it."""

from screenplan.works.browsing import look_browsed as look_browsed
from screenplan.works.calendar import schedule_work as schedule_work
from screenplan.works.clipping import lay_clipping as lay_clipping
from screenplan.works.cost import price_work as price_work
from screenplan.works.drip import lay_drip_lines as lay_drip_lines
from screenplan.works.fence import lay_fence as lay_fence
from screenplan.works.instead import compare_instead as compare_instead
from screenplan.works.measuring import choose_to_measure as choose_to_measure
from screenplan.works.quantities import count_material as count_material
from screenplan.works.request import outline_request as outline_request
from screenplan.works.stakeout import stake_out as stake_out
from screenplan.works.water_months import lay_water as lay_water
from screenplan.works.years import count_years as count_years

__all__ = [
    "choose_to_measure",
    "compare_instead",
    "count_material",
    "count_years",
    "lay_clipping",
    "lay_drip_lines",
    "lay_fence",
    "lay_water",
    "look_browsed",
    "outline_request",
    "price_work",
    "schedule_work",
    "stake_out",
]
