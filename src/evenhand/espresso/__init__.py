"""The science of one cup: what a pull was, against the recipe it was meant to follow."""
