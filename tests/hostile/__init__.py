"""Hostile inputs: each must end in a plan or in a refusal that says how to mend it.

One module is one corpus. All of them have the same three names:

``NAME``
    What the corpus is called on the command line.
``cases(seed, share)``
    Yields `Case` in an order that the seed fixes; a share of 0.1 is a fixed tenth of them.
``run(case)``
    Tries one case and gives its `Outcome`; `outcome.judge` turns what was raised into one. A case may
    kill its process: the corpus is run in a process of its own (`cell.Cell`), so that only it is lost.

A corpus is entered in `corpora.CORPORA`. ``python -m tests.hostile`` runs all of them whole,
``python -m tests.hostile files --share 0.1`` a part; ``tests/test_hostile.py`` runs a tenth of each.
"""
