"""The database is opened so that nothing is lost, named without telling its password, and copied while in use."""

import os
import sqlite3
import threading
from pathlib import Path

import pytest
from django.db.utils import ConnectionHandler

from evenhand.records import database
from evenhand.records._refusals import RecordError
from evenhand.records.database import backup, configure, data_folder, network_share, prepare


class TestSqlite:
    @pytest.fixture
    def connection(self, tmp_path, django_db_blocker):
        described = configure({"EVENHAND_DATA": str(tmp_path / "new" / "deep")})
        prepare(described)
        connection = ConnectionHandler({"default": described})["default"]
        with django_db_blocker.unblock():
            yield connection
            connection.close()

    # Numbers of the pragmas: SQLite's own documentation ("PRAGMA Statements"): synchronous 2 is FULL.
    @pytest.mark.parametrize(
        ("pragma", "value"), [("journal_mode", "wal"), ("synchronous", 2), ("foreign_keys", 1), ("busy_timeout", 5000)]
    )
    def test_is_opened_as_it_must_be(self, connection, pragma, value):
        with connection.cursor() as cursor:
            assert cursor.execute(f"PRAGMA {pragma}").fetchone()[0] == value

    def test_a_writer_takes_its_place_at_the_start(self, connection):
        """A transaction that read first and wrote later could fail half-way; this one waits at its start."""
        connection.ensure_connection()
        connection._start_transaction_under_autocommit()  # what atomic() calls
        other = sqlite3.connect(connection.settings_dict["NAME"], timeout=0)
        with pytest.raises(sqlite3.OperationalError, match="locked"):
            other.execute("BEGIN IMMEDIATE")
        other.close()

    def test_lies_where_the_environment_says(self, tmp_path):
        assert data_folder({"EVENHAND_DATA": "/srv/shop", "HOME": "/h"}) == Path("/srv/shop")
        assert data_folder({"XDG_DATA_HOME": "/d", "HOME": "/h"}) == Path("/d/evenhand")
        assert data_folder({"HOME": "/h"}) == Path("/h/.local/share/evenhand")

    def test_a_folder_that_cannot_be_made_is_a_sentence(self, tmp_path, told_with):
        (tmp_path / "file").write_text("")
        with pytest.raises(RecordError, match=r"cannot be made \(not a directory\)") as refused:
            prepare(configure({"EVENHAND_DATA": str(tmp_path / "file" / "data")}))
        told_with(refused.value.args[0], str(tmp_path / "file" / "data"))


class TestNetworkShares:
    MOUNTS = (
        "/dev/sda1 / ext4 rw 0 0\nserver:/x /mnt/shop nfs4 rw 0 0\n//server/y /mnt/two\\040words cifs rw 0 0\n"
        "/dev/sdb1 /mnt/shop/local ext4 rw 0 0\n"
    )

    @pytest.mark.parametrize(
        ("folder", "kind"),
        [
            ("/var/lib/evenhand", None),
            ("/mnt/shop/data", "nfs4"),
            ("/mnt/shopping", None),
            ("/mnt/two words/data", "cifs"),
            ("/mnt/shop/local/data", None),
        ],
    )
    def test_the_nearest_mount_decides(self, folder, kind):
        assert network_share(Path(folder), self.MOUNTS) == kind

    def test_a_share_is_warned_of(self, tmp_path, monkeypatch):
        monkeypatch.setattr(database, "network_share", lambda folder, mounts: "nfs4")
        [warning] = prepare(configure({"EVENHAND_DATA": str(tmp_path)}))
        assert "network share (nfs4)" in warning
        assert "EVENHAND_DATA" in warning


def postgresql(rest):
    return configure({"EVENHAND_DATABASE_URL": "postgresql:" + rest})


class TestPostgresqlAddress:
    def test_all_parts(self):
        found = postgresql("//una:p%40ss%3Aword@db.shop:5433/season%201?sslmode=require&connect_timeout=3")
        assert {k: found[k] for k in ("NAME", "USER", "PASSWORD", "HOST", "PORT")} == {
            "NAME": "season 1",
            "USER": "una",
            "PASSWORD": "p@ss:word",
            "HOST": "db.shop",
            "PORT": "5433",
        }
        assert found["OPTIONS"] == {"sslmode": "require", "connect_timeout": "3"}

    def test_a_socket_is_named_in_the_query(self):
        found = postgresql("///evenhand?host=/run/db&port=5433&user=una")
        assert (found["NAME"], found["HOST"], found["PORT"]) == ("evenhand", "/run/db", "5433")

    def test_an_empty_address_means_a_file(self, tmp_path):
        found = configure({"EVENHAND_DATABASE_URL": "", "EVENHAND_DATA": str(tmp_path)})
        assert found["NAME"] == str(tmp_path / "evenhand.sqlite3")

    @pytest.mark.parametrize(
        ("address", "sentence"),
        [
            ("mysql://una:secret@db/evenhand", "does not begin with postgresql"),
            ("una:secret@db/evenhand", "does not begin with postgresql"),
            ("postgresql://una:secret@db", "names no database"),
            ("postgresql://una:secret@db:port/evenhand", "port is a number"),
            ("postgresql://una:secret@[db/evenhand", "port is a number"),
        ],
    )
    def test_a_slip_is_told_without_the_password(self, address, sentence):
        with pytest.raises(RecordError, match=sentence) as refused:
            configure({"EVENHAND_DATABASE_URL": address})
        assert "secret" not in str(refused.value)

    def test_without_its_driver(self, monkeypatch):
        monkeypatch.setattr(database, "find_spec", lambda name: None)
        with pytest.raises(RecordError, match="extra named postgres"):
            postgresql("//db/evenhand")


class TestBackup:
    @pytest.fixture
    def source(self, tmp_path):
        path = tmp_path / "evenhand.sqlite3"
        writer = sqlite3.connect(path, isolation_level=None)
        writer.execute("PRAGMA journal_mode=WAL")
        writer.execute("CREATE TABLE sheet (id INTEGER PRIMARY KEY, words TEXT)")
        writer.executemany("INSERT INTO sheet (words) VALUES (?)", [("plum " * 20,)] * 5000)
        writer.close()
        return path

    def test_is_whole_while_somebody_writes(self, source, tmp_path):
        stop = threading.Event()
        written = []

        def write():
            writer = sqlite3.connect(source, isolation_level=None, timeout=5)
            while not stop.is_set():
                written.append(writer.execute("INSERT INTO sheet (words) VALUES ('more')").lastrowid)
            writer.close()

        thread = threading.Thread(target=write)
        thread.start()
        try:
            while not written:
                pass
            known = written[-1]
            copy = backup(source, tmp_path / "copy.sqlite3")
        finally:
            stop.set()
            thread.join()
        reader = sqlite3.connect(copy)
        count, last = reader.execute("SELECT COUNT(*), MAX(id) FROM sheet").fetchone()
        assert reader.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        reader.close()
        assert count == last >= known, "no row is missing among those before the copy"
        assert sorted(p.name for p in tmp_path.iterdir() if "copy" in p.name) == ["copy.sqlite3"]

    def test_never_writes_over_a_file(self, source, tmp_path, told_with):
        (tmp_path / "copy").write_text("mine")
        with pytest.raises(RecordError, match="there already") as refused:
            backup(source, tmp_path / "copy")
        told_with(refused.value.args[0], str(tmp_path / "copy"))
        assert (tmp_path / "copy").read_text() == "mine"

    @pytest.mark.parametrize("spoil", ["missing", "junk", "damaged"])
    def test_what_cannot_be_copied_leaves_nothing(self, source, tmp_path, spoil):
        if spoil == "missing":
            source = tmp_path / "none"
        elif spoil == "junk":
            source.write_bytes(b"no database " * 1000)
        else:
            content = bytearray(source.read_bytes())
            content[20_000:60_000] = os.urandom(40_000)
            source.write_bytes(content)
        with pytest.raises(RecordError):
            backup(source, tmp_path / "copy")
        assert not [p for p in tmp_path.iterdir() if "copy" in p.name]

    def test_of_a_folder_that_is_not_there(self, source, tmp_path):
        with pytest.raises(RecordError, match="cannot be written"):
            backup(source, tmp_path / "none" / "copy")
