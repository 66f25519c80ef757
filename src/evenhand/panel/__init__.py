"""The science of many cups: tasting plans, the mixed model, the response to a pull, faults, and how tasters taste."""
