"""A program of its own that writes sheets, so that tests can run several at once, or kill one."""

import datetime as dt
import sys

from evenhand.records.opening import open_records


def main(client_ids):
    """Send a sheet for each client id, each on its own cup, and say so when it is stored."""
    open_records()
    from evenhand.records.audit import Pen
    from evenhand.records.models import Cup, Person
    from evenhand.records.sheets import take_sheet

    wim = Person.objects.get(name="Wim")
    cups = {cup.code: cup for cup in Cup.objects.all()}
    print("ready", flush=True)
    sys.stdin.readline()
    for client_id in client_ids:
        taken = take_sheet(
            Pen(who="Wim", at=dt.datetime.now(dt.UTC)),
            client_id=client_id,
            cup=cups[client_id],
            taster=wim,
            scores={"sweetness": 6},
            faults={"smoky": False},
        )
        print(client_id, taken.is_new, flush=True)


if __name__ == "__main__":
    main(sys.argv[1].split(","))
