"""How dilute the stock, how much water, and which part of the machine takes it out."""
