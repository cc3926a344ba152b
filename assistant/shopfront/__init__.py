"""The shop's web screen, and the customers' telephones of the practice page."""
