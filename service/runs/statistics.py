"""What the database knows of its own tables, by which it chooses among indexes."""

from datetime import timedelta

from django.core.cache import cache
from django.db import connection

EVERY = timedelta(days=1)
# Index entries read at most for each index: half a second with a million visits.
MOST_READ = 10_000


def keep_statistics() -> bool:
    """On SQLite, count anew once a day: without it, a search among years of visits takes the wrong index.

    PostgreSQL does so by itself. Returns whether it was done.
    """
    if connection.vendor != "sqlite" or not cache.add("statistics_kept", True, EVERY.total_seconds()):
        return False
    with connection.cursor() as cursor:
        cursor.execute(f"PRAGMA analysis_limit={MOST_READ}")
        cursor.execute("ANALYZE")
    return True
