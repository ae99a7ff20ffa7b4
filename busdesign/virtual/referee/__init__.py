"""The bit-level referee: every node drives and samples the pair bit by bit, by the rules of ISO 11898-1.

`model` says what goes in, `running` runs it, `outcome` says what comes out. Inside: `bit_source` lays a frame out,
`layout` numbers what a node remembers, `queueing` keeps its frames by priority, `machine` is the node itself. Two loops
move it: `synchronous` bit by bit on one common clock, `quanta` by every node's own clock, bit timing and distance.

numba notices a change only of the file that a compiled function stands in, not of those it calls: after a change to one
of these files, or to `wire.confinement`, remove the `*.nbi` files in this package's `__pycache__`. The tests that hold
the compiled loops against plain Python fail until then.
"""
