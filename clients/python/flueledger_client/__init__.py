"""Send visits to Flueledger from where there is little signal.

client = Client("https://ledger.example", token, queue="queue.sqlite3")
visit = client.new_visit()
client.save(visit, body)   # on disk; nothing is sent yet
client.send()              # as far as the signal goes
"""

from flueledger_client.client import Client, Sent
from flueledger_client.queue import Queue, Save
from flueledger_client.wire import Answer, NoSignal, Wire

__all__ = ["Answer", "Client", "NoSignal", "Queue", "Save", "Sent", "Wire"]
