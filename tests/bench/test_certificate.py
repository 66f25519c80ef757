"""The shop's own certificate names every address it is asked by, and is kept until it must be made anew."""

import os
import socket
import ssl
import stat
import threading

import pytest
from cryptography import x509

from evenhand.bench.certificate import own_certificate

NAMES = ("127.0.0.1", "localhost", "::1", "bench.test")


def names_in(place):
    found = x509.load_pem_x509_certificate(place.read_bytes())
    return {str(n.value) for n in found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value}


def test_it_is_kept_as_long_as_it_serves(tmp_path):
    certificate, key = own_certificate(tmp_path, NAMES)
    before = certificate.read_bytes()
    assert names_in(certificate) == set(NAMES)
    assert stat.S_IMODE(os.stat(key).st_mode) == 0o600
    assert own_certificate(tmp_path, NAMES[:2])[0].read_bytes() == before
    own_certificate(tmp_path, (*NAMES, "192.0.2.7"))
    assert certificate.read_bytes() != before
    assert "192.0.2.7" in names_in(certificate)


def test_a_damaged_one_is_made_anew(tmp_path):
    certificate, _ = own_certificate(tmp_path, NAMES)
    certificate.write_text("spoilt")
    assert names_in(own_certificate(tmp_path, NAMES)[0]) == set(NAMES)


@pytest.mark.parametrize("name", ["localhost", "127.0.0.1"])
def test_a_client_that_trusts_it_can_speak_to_the_server(tmp_path, name):
    certificate, key = own_certificate(tmp_path, NAMES)
    serving = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    serving.load_cert_chain(certificate, key)
    asking = ssl.create_default_context(cafile=os.fspath(certificate))  # checks the name
    with socket.create_server(("127.0.0.1", 0)) as listening:

        def answer():
            there, _ = listening.accept()
            with serving.wrap_socket(there, server_side=True) as line:
                line.sendall(line.recv(5))

        thread = threading.Thread(target=answer)
        thread.start()
        with (
            socket.create_connection(listening.getsockname()) as here,
            asking.wrap_socket(here, server_hostname=name) as line,
        ):
            line.sendall(b"hello")
            assert line.recv(5) == b"hello"
        thread.join()
