"""The science of one bed: arrays and numbers in, frozen results out."""
