"""The room where tasters fill their sheets, on a phone, with or without the network."""
