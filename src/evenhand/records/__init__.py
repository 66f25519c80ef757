"""What the shop writes down: reading its folder, and handing it to the judgement."""
