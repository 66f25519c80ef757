"""Many phones that send at the same instant, to a real server on a real file."""

import json
import threading
import urllib.error
import urllib.request


def test_one_sheet_from_many_phones_at_once_is_stored_once(on_server):
    laid = on_server.laid
    code = next(c for c in laid["orders"]["Ida"] if c in laid["poured"])
    address = f"{on_server.served.here}/taste/{laid['table']}/sheets"
    token = "T" * 32
    body = {
        "client_id": "0123456789abcdef" * 2,
        "taster": laid["people"]["Ida"],
        "code": code,
        "scores": {"sweetness": 6.5},
        "faults": {"smoky": False},
        "words": "plum",
        "tasted_at": "2026-05-20T10:00:00+00:00",
        "supersedes": None,
    }
    found: list[int] = []
    gate = threading.Barrier(16)

    def send(index: int) -> None:
        # Half of the phones send a sheet of their own for the same cup: one sheet may stand, never two.
        own = body if index % 2 else body | {"client_id": f"{index:032x}"}
        request = urllib.request.Request(
            address,
            json.dumps(own).encode(),
            {
                "Content-Type": "application/json",
                "Cookie": f"evenhand_session={laid['sessions']['Ida']}; evenhand_csrf={token}",
                "X-CSRFToken": token,
            },
        )
        gate.wait()
        try:
            with urllib.request.urlopen(request, timeout=60) as answer:
                found.append(answer.status)
        except urllib.error.HTTPError as error:
            found.append(error.code)

    threads = [threading.Thread(target=send, args=(index,)) for index in range(16)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(90)
    assert len(found) == 16
    assert found.count(201) == 1
    assert set(found) <= {200, 201, 409}
    assert len(on_server.sheets()) == 1
