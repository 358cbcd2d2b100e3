"""Spa-water chemistry: what is in the tub, what to add, may people use it.

Plain Python, standard library only. The stable entry points are the three
commands of ``python -m service.chemistry`` and the functions behind them.
"""
