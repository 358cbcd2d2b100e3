"""The web server's way in."""

import gc
import os
from importlib import import_module

from django.conf import settings
from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "service.settings")
application = get_wsgi_application()
# The pages' code is loaded now, not by the first person; and what is loaded stays, so that no full
# collection walks all of it again in the middle of a page (0.2 s, measured with tests/bench).
import_module(settings.ROOT_URLCONF)
gc.collect()
gc.freeze()
