"""How the built-in speech model is made: the whole recipe, not needed to use the program."""
