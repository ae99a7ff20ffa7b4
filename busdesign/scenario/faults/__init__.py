"""The kinds of fault that a scenario may inject: what each is, which keys it takes, what it does to the bus."""
