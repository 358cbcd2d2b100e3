"""Every limit of the API, in numbers. The guide to the API says them in words.

The numbers: common practice, no source.
"""

from datetime import timedelta

READS_A_MINUTE = 600
WRITES_A_MINUTE = 120
# Of one network address: whoever guesses tokens, or keeps sending one that was withdrawn.
REFUSED_A_MINUTE = 60
BODY_MAX_BYTES = 256 * 1024
NESTING_MAX = 8
PAGE_ROWS = 50
PAGE_ROWS_MAX = 200
# How long the answer to a write is kept under its key.
KEY_KEPT = timedelta(hours=24)
KEY_LONGEST = 100
# A write that never came to an end, because its process was killed, may be sent again after this.
KEY_STALE = timedelta(minutes=2)
# More changed rows than this: read the whole list instead.
CHANGED_MAX = 5000
