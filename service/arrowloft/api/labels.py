"""Labels that tell the models of a request apart."""

from collections import Counter
from collections.abc import Sequence

from marshmallow import ValidationError

from arrowloft.api.wording import shown


def check_labels(member: str, what: str, labels: Sequence[str]) -> None:
    """Raise ValidationError that points at every label given more than once.

    member: that lists what bears them.  what: it lists, in the plural.
    """
    count = Counter(labels)
    twice = {
        index: {
            "label": [
                f"{count[label]} {what} are called {shown(label)}: give each a label of its own."
            ]
        }
        for index, label in enumerate(labels)
        if count[label] > 1
    }
    if twice:
        raise ValidationError({member: twice})
