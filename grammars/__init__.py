"""Number, unit, answer and command grammars: data files, see assistant/readings."""
