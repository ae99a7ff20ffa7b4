"""The faults of a scenario, played: what each of them does to the wire, to the nodes and to what is sent."""
