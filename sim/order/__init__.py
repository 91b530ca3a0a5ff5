"""What to buy and how to cut it: the list from the machine's own parts, bars cut with little waste, prices of one's own."""
