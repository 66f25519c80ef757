"""Set-up: people, lists, scales, recipes, targets, costs, import and export."""
