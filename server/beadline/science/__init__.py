"""The science of one bed: arrays and numbers in, frozen results out.

Files here write `import scipy` and then `scipy.special.ndtr`: scipy loads a part of itself when it is first
named, so that a server starts without them.
"""
