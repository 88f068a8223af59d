"""How near firstglow comes to published figures: every row, what was predicted, how sure both sides are."""
