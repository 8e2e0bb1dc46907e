"""Servers of this machine alone that a source is read from: S3-compatible (moto) and SFTP (asyncssh), with faults.

Each holds files by path below its own folder, and can be told to fail once or always.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import socket
import threading
import time
from pathlib import Path

import asyncssh
import boto3
from moto.server import ThreadedMotoServer

KEY, SECRET, PASSWORD = "HARBOUR_KEY", "HARBOUR_SECRET", "HARBOUR_PASSWORD"
ENVIRONMENT = {KEY: "loopback-key", SECRET: "loopback-secret", PASSWORD: "loopback-password"}


class Place:
    """What the tests ask of a server."""

    faults: set[str]  # names of what goes wrong next; "!" before a name: always
    fetched: list[str]  # paths whose bytes were asked for
    cut_at: bytes | None  # the connection breaks where a sent file holds this

    def fails(self, name: str) -> bool:
        if name in self.faults:
            self.faults.discard(name)
            return True
        return "!" + name in self.faults


# ---- S3, behind a relay that can break a connection


class S3Place(Place):
    kind = "s3"

    def __init__(self, bucket: str):
        self.server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
        self.server.start()
        host, port = self.server.get_host_and_port()
        self.client = boto3.client(
            "s3", endpoint_url=f"http://{host}:{port}", region_name="us-east-1",
            aws_access_key_id="loopback-key", aws_secret_access_key="loopback-secret",
        )  # fmt: skip
        self.bucket = bucket
        self.client.create_bucket(Bucket=bucket)
        self.faults, self.fetched = set(), []
        self.relay = _Relay((host, port), self)

    def settings(self, name: str = "clinic", **more: str) -> str:
        keys = {
            "name": name, "url": f"s3://{self.bucket}/sent", "endpoint": f"http://127.0.0.1:{self.relay.port}",
            "region": "us-east-1", "access_key_variable": KEY, "secret_key_variable": SECRET, **more,
        }  # fmt: skip
        return "[[source]]\n" + "".join(f'{key} = "{value}"\n' for key, value in keys.items())

    def put(self, path: str, content: str) -> None:
        self.client.put_object(Bucket=self.bucket, Key=f"sent/{path}", Body=content.encode())

    def remove(self, path: str) -> None:
        self.client.delete_object(Bucket=self.bucket, Key=f"sent/{path}")

    def paths(self) -> list[str]:
        listed = self.client.list_objects_v2(Bucket=self.bucket, Prefix="sent/")
        return [one["Key"].removeprefix("sent/") for one in listed.get("Contents", [])]

    def close(self) -> None:
        self.relay.close()
        self.server.stop()


class _Relay:
    """Hands bytes to and from the store, and breaks off where its place says so."""

    def __init__(self, to: tuple[str, int], place: S3Place):
        self.to, self.place = to, place
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.port = self.listener.getsockname()[1]
        threading.Thread(target=self._serve, daemon=True).start()

    def close(self) -> None:
        self.listener.close()

    def _serve(self) -> None:
        while True:
            try:
                client, _ = self.listener.accept()
            except OSError:
                return
            if self.place.fails("connect"):
                client.close()
                continue
            server = socket.create_connection(self.to)
            for pair in ((client, server, True), (server, client, False)):
                threading.Thread(target=self._hand_over, args=pair, daemon=True).start()

    def _hand_over(self, one: socket.socket, other: socket.socket, is_request: bool) -> None:
        try:
            while content := one.recv(1 << 16):
                if is_request and content.startswith(b"GET") and b"list-type" not in content.splitlines()[0]:
                    self.place.fetched.append(content.split(b" ")[1].decode().partition("/sent/")[2])
                is_listing = not is_request and b"<ListBucketResult" in content
                is_file = not is_request and b"Member,Date" in content
                if (is_listing and self.place.fails("list")) or (is_file and self.place.fails("read")):
                    other.sendall(content[: len(content) // 2])
                    break
                other.sendall(content)
        except OSError:
            pass
        for end in (one, other):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()


# ---- SFTP


class SftpPlace(Place):
    kind = "sftp"

    def __init__(self, folder: Path):
        self.folder = folder
        self.root = folder / "server"
        (self.root / "sent").mkdir(parents=True)
        self.host_key = asyncssh.generate_private_key("ssh-ed25519")
        self.user_key = asyncssh.generate_private_key("ssh-ed25519")
        self.key_file = folder / "user-key"
        self.user_key.write_private_key(str(self.key_file))
        self.key_file.chmod(0o600)
        self.faults, self.fetched = set(), []
        self.loop = asyncio.new_event_loop()
        threading.Thread(target=self.loop.run_forever, daemon=True).start()
        self.server = self._do(self._listen())
        self.port = self.server.sockets[0].getsockname()[1]
        self.known_hosts = folder / "known_hosts"
        self.know(self.host_key)

    def know(self, key: asyncssh.SSHKey) -> None:
        public = key.export_public_key().decode().strip()
        self.known_hosts.write_text(f"[127.0.0.1]:{self.port} {public}\n", encoding="utf-8")

    async def _listen(self):
        place = self

        class Server(asyncssh.SSHServer):
            def connection_made(self, connection):
                if place.fails("connect"):
                    connection.abort()

            def begin_auth(self, username):
                return True

            def password_auth_supported(self):
                return True

            def validate_password(self, username, password):
                return username == "reader" and password == ENVIRONMENT[PASSWORD]

            def public_key_auth_supported(self):
                return True

            def validate_public_key(self, username, key):
                return username == "reader" and key.public_data == place.user_key.public_data

        class Files(asyncssh.SFTPServer):
            def __init__(self, channel):
                super().__init__(channel, chroot=str(place.root))

            def scandir(self, path):
                if place.fails("list"):
                    self.channel.get_connection().abort()
                if place.fails("closed folder"):
                    raise asyncssh.SFTPPermissionDenied("closed")
                return super().scandir(path)

            def open(self, path, pflags, attrs):
                place.fetched.append(path.decode().removeprefix("/sent/"))
                if place.fails("closed file"):
                    raise asyncssh.SFTPPermissionDenied("closed")
                if place.fails("vanishes"):
                    (place.root / path.decode().lstrip("/")).unlink()
                if place.fails("grows"):
                    file = place.root / path.decode().lstrip("/")
                    file.write_bytes(file.read_bytes() + b"m9,2025-02-03,F,35,165.0,65.0\n")
                if place.fails("rewritten"):
                    file = place.root / path.decode().lstrip("/")
                    file.write_bytes(file.read_bytes().replace(b"165.0", b"166.0"))
                return super().open(path, pflags, attrs)

            def read(self, file_obj, offset, size):
                if place.fails("read"):
                    self.channel.get_connection().abort()
                content = super().read(file_obj, offset, size)
                return content[: len(content) // 2] if place.fails("short") else content

        return await asyncssh.listen(
            "127.0.0.1", 0, server_factory=Server, server_host_keys=[self.host_key], sftp_factory=Files
        )

    def settings(self, name: str = "clinic", **more: str) -> str:
        keys = {"name": name, "url": f"sftp://reader@127.0.0.1:{self.port}/sent", "known_hosts": self.known_hosts}
        keys |= more if "password_variable" in more else {"key_file": self.key_file, **more}
        return "[[source]]\n" + "".join(f'{key} = "{value}"\n' for key, value in keys.items())

    def put(self, path: str, content: str, *, seconds_ago: float = 3600) -> None:
        file = self.root / "sent" / path
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(content, encoding="utf-8")
        at = time.time() - seconds_ago
        os.utime(file, (at, at))

    def remove(self, path: str) -> None:
        (self.root / "sent" / path).unlink()

    def paths(self) -> list[str]:
        sent = self.root / "sent"
        return sorted(file.relative_to(sent).as_posix() for file in sent.rglob("*") if file.is_file())

    def _do(self, work):
        return asyncio.run_coroutine_threadsafe(work, self.loop).result(20)

    def close(self) -> None:
        async def closed() -> None:  # in the loop's own thread, which may be letting go of a connection just now
            self.server.close()

        self._do(closed())
        self.loop.call_soon_threadsafe(self.loop.stop)
