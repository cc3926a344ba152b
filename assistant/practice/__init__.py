"""A virtual car with a hidden fault: an outside reality for the program to be tried on.

Nothing here shares code with the program's own electrics, knowledge or diagnosis. The solver, the
spreads and the reading of the contract are its own, so that a mistake there is not repeated here.
"""
