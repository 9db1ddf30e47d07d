"""Opens a store and brings its tables up to date, on a word from outside, at the same time as others do.

racing_opener.py ADDRESS
"""

import sys

from noonframe.store.engine import open_store
from noonframe.store.schema import revision, upgrade

sys.stdout.write("ready\n")
sys.stdout.flush()
sys.stdin.readline()
store = open_store(sys.argv[1], wait_s=30.0)
upgrade(store)
print(revision(store))
store.close()
