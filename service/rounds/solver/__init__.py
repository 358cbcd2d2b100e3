"""Planning a week of rounds: who serves which visit on which day, in which order.

Plain Python on PyVRP, without Django. The stable entry points are the commands of
``python -m service.rounds.solver`` and the functions ``plan``, ``insert`` and ``without`` behind them.

Pattern choice is ours (``patterns``, ``search``), the routing of a day is PyVRP's (``day``, ``board``).
Where visits may move by themselves, PyVRP also works on all days at once (``joint``, ``polish``).
Routes met on the way (``pool``) are put together anew by an exact programme in HiGHS (``recombine``).
The times of a round are computed once more without either (``timing``).
"""
