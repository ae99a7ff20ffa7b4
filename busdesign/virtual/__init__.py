"""The simulated bus: event kernel, arbitration, node interface."""
