"""Tables of the trade that come with barfuncs and that a shop may bring its own of."""
