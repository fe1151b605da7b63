"""The fixtures' parts: where each stands, what it weighs, whether they close. Nothing else here.

Millimetres, newtons, kilograms, as a workshop drawing has them; x to the right, y to the back
(along the arm's axis), z up. The room reads `fixtures/*/parts.toml` and the bench's own changes
to it, and knows nothing of measurements; nothing of the measurements knows it.
"""
