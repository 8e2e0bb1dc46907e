"""An SFTP server, through fsspec and paramiko. It must be known by its host key before anything is said to it."""

from __future__ import annotations

import logging
import stat
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import paramiko
from fsspec.implementations.sftp import SFTPFileSystem

from pipeline.intake.sources.remote_file import (
    FILE,
    LINK,
    OTHER,
    Interrupted,
    OutOfReach,
    RemoteFile,
    Watched,
)
from pipeline.programme import SourceSettings

# It tells of a connection that breaks with a traceback and the server's address; OutOfReach says what is to be said.
logging.getLogger("paramiko").setLevel(logging.CRITICAL)

_SECONDS = 20  # to connect, to say who one is, and without a sign of life
MOST_DEPTH = 8  # folders within folders
_AHEAD = 32  # requests under way while a file is read


class _KnownServer(SFTPFileSystem):
    """fsspec's SFTP, which takes host keys from a file and no others."""

    cachable = False

    def __init__(self, host: str, known_hosts: Path, **how: Any):
        self._known_hosts = known_hosts
        super().__init__(host, host_key_policy="reject", **how)

    def _connect(self) -> None:
        self.client = paramiko.SSHClient()
        self.client.load_host_keys(str(self._known_hosts))
        self.client.set_missing_host_key_policy(self.host_key_policy)
        self.client.connect(self.host, **self.ssh_kwargs)
        self.ftp = self.client.open_sftp()
        self.ftp.get_channel().settimeout(_SECONDS)


class FileServer:
    is_written_in_place = True

    def __init__(self, settings: SourceSettings, secrets: Mapping[str, str], folder: Path):
        url = urlsplit(settings.url)
        path = unquote(url.path)
        self._name, self._host = settings.name, url.hostname or ""
        # /~/ is the folder that the server opens with
        self._root = (path.removeprefix("/~").strip("/") or ".") if path.startswith("/~") else path.rstrip("/") or "/"
        password = secrets.get("password_variable")
        how: dict[str, Any] = {"passphrase" if settings.key_file else "password": password}
        if settings.key_file:
            how["key_filename"] = str(self._private(folder / Path(settings.key_file).expanduser()))
        known_hosts = folder / Path(settings.known_hosts).expanduser()
        if not known_hosts.is_file():
            raise OutOfReach(self._name, f"no file {known_hosts}", _HOW_TO_KNOW_IT)
        with self._watched():
            self._files = _KnownServer(
                self._host, known_hosts, port=url.port or 22, username=unquote(url.username or ""),
                timeout=_SECONDS, banner_timeout=_SECONDS, auth_timeout=_SECONDS, channel_timeout=_SECONDS,
                allow_agent=False, look_for_keys=False, **how,
            )  # fmt: skip

    def files(self) -> Iterator[RemoteFile]:
        folders: list[tuple[str, ...]] = [()]
        while folders:
            folder = folders.pop()
            with self._watched():
                entries = self._files.ftp.listdir_iter(self._at(folder))
            while True:
                with self._watched():
                    entry = next(entries, None)
                if entry is None:
                    break
                parts = (*folder, entry.filename)
                if stat.S_ISDIR(entry.st_mode or 0) and _is_one_name(entry.filename):
                    if len(parts) > MOST_DEPTH:
                        raise OutOfReach(self._name, f"more than {MOST_DEPTH} folders within each other")
                    folders.append(parts)
                else:
                    yield _remote_file(parts, entry)

    def look(self, file: RemoteFile) -> RemoteFile:
        with self._watched():
            return _remote_file(file.parts, self._files.ftp.lstat(self._at(file.parts)))

    def open(self, file: RemoteFile) -> Any:
        with self._watched():
            stream = self._files.open(self._at(file.parts), "rb")
            stream.prefetch(file.size, max_concurrent_requests=_AHEAD)
        return Watched(stream, self._watched)

    def close(self) -> None:
        with suppress(Exception):  # it may be broken already
            self._files.client.close()

    def _at(self, parts: tuple[str, ...]) -> str:
        return "/".join((self._root.rstrip("/"), *parts)) if parts else self._root

    def _private(self, key_file: Path) -> Path:
        try:
            mode = key_file.stat().st_mode
        except OSError as error:
            raise OutOfReach(self._name, f"no key file {key_file}", "correct key_file") from error
        if mode & 0o077:
            raise OutOfReach(
                self._name, f"the key file {key_file}, which others may read", f"chmod 600 {key_file}"
            )
        return key_file

    @contextmanager
    def _watched(self) -> Iterator[None]:
        try:
            yield
        except (FileNotFoundError, PermissionError):
            raise
        except paramiko.BadHostKeyException as error:
            raise OutOfReach(self._name, "a host key that is not the server's known one", _HOW_TO_KNOW_IT) from error
        except paramiko.AuthenticationException as error:
            raise OutOfReach(self._name, "a server that does not take this user with this key or password") from error
        except paramiko.SSHException as error:
            if "not found in known_hosts" in str(error):
                raise OutOfReach(self._name, "a server that is not in known_hosts", _HOW_TO_KNOW_IT) from error
            raise Interrupted(f"no connection ({type(error).__name__})") from error
        except (OSError, EOFError) as error:
            raise Interrupted(f"no connection ({type(error).__name__})") from error
        except ValueError as error:  # a key file in no known format
            raise OutOfReach(self._name, "a key file that is none, or needs another passphrase") from error


_HOW_TO_KNOW_IT = (
    "ask whoever runs the server for its host key and put that into the file of known_hosts; never take the key that "
    "it happens to show"
)


def _is_one_name(name: object) -> bool:
    """Can be put behind a folder's path and stays below it. A name that is no UTF-8 comes as bytes."""
    return isinstance(name, str) and name not in ("", ".", "..") and "/" not in name and "\0" not in name


def _remote_file(parts: tuple[Any, ...], entry: paramiko.SFTPAttributes) -> RemoteFile:
    mode = entry.st_mode or 0
    kind = LINK if stat.S_ISLNK(mode) else FILE if stat.S_ISREG(mode) else OTHER
    named = tuple(part if isinstance(part, str) else part.decode(errors="surrogateescape") for part in parts)
    return RemoteFile(named, kind, entry.st_size or 0, entry.st_mtime or 0)
