"""A county: parcels by the file, partition by partition, by the steps of a single plan.

A layer is sorted along a curve that keeps neighbours together, and cut into partitions; each is planned by itself from
what lies around it, in any process, and its parts appear whole. What was planned for a parcel does not depend on the cut.
"""

from screenplan.ground.offers import offer

__all__, __getattr__, __dir__ = offer(__name__, {"run_county": "whole"})
