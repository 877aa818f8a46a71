"""The reference: pages made from the code, and the few that are written by hand."""
