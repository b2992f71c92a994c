"""The types of every JSON document, each with the pieces that it is made of."""
