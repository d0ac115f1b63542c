"""The project's own pictures of invented keys, with known truth.

``python -m tests.generator OUT --seed N --count N [--medium M]`` writes pictures, ``truth.jsonl`` and ``specs/``.
Nothing here is shared with the reader: geometry, light, paper and camera are modelled on their own, so that a mistake
in the reader cannot hide behind the same mistake here.
"""
