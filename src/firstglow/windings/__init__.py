"""The unknown transformer: from a bundle of leads to a transformer line of the amplifier file.

Facts in, conclusions and the next question out: ``study(answers)``. Nothing here speaks to a person.
"""

from firstglow.windings.facts import WindingsError
from firstglow.windings.study import Question, Study, study

__all__ = ["Question", "Study", "WindingsError", "study"]
