"""The exit statuses of every command."""

HOLDS = 0
BROKEN = 1  # a promise is broken
UNUSABLE = 2  # the input cannot be used
INTERRUPTED = 130  # by Ctrl-C, as shells have it
