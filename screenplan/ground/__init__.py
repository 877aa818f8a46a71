"""What everything stands on: refusals, files as people write them, units, tables, datum, the local frame."""
