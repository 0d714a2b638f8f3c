"""Divides prose into sentences and settles what each is about: exam, limb, side, whose, when."""
