"""How fast the library is: figures and ratios, printed and not asserted."""
