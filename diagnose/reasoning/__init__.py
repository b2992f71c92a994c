"""Facts of a case, the rules of the trade, and the findings that the rules draw from them."""
