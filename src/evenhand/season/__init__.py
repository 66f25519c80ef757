"""The science of a season: is the roast steady, is the green holding, is this year like last year."""
