"""Single changes of an operator, and whether the module's own tests notice them: ``make mutants``."""
