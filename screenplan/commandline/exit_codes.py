"""The codes with which a command ends; 0 where all is well."""

#: A check fails, and nothing else.
EXIT_FAILS = 1
#: What was given cannot be used.
EXIT_INPUT = 2
#: An error of ours: EX_SOFTWARE of BSD's sysexits.h.
EXIT_OURS = 70
#: 128 and the number of the signal, as shells count: an interrupt, and a reader that went away.
EXIT_INTERRUPTED, EXIT_UNREAD = 130, 141
