"""Practice: a placement -> findings: what is said, what to practise, how much would bring a trait inside.

In: `Placement`, the texts. Out: `Findings`. Imports `placement` and what lies before it. A change of advice, of an
amount or of an edit that is tried on the notes goes here; the sentences themselves lie in `texts/`.
"""
