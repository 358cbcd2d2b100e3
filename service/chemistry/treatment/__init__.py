"""The treatment planner: readings and products in, a safe order of doses and a verdict out.

`treat.treat` plans, `overrides.review_doses` checks amounts a technician changed. Order of work:
request -> scene (what was measured, what is aimed at) -> plan (linear programme) -> rounds (order,
splits, waits) -> answer. Rules stand as data in pairs, caps, cautions, holds and in chemistry/waits.
"""
