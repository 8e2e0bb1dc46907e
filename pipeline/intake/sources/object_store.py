"""An S3-compatible store, through s3fs. Keys are read as they are: no key can name a place outside its prefix."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from typing import Any
from urllib.parse import unquote, urlsplit

import aiohttp
import s3fs
from botocore.exceptions import BotoCoreError, ClientError, NoCredentialsError

from pipeline.intake.sources.remote_file import FILE, Interrupted, OutOfReach, RemoteFile, Watched
from pipeline.programme import SourceSettings

_CONNECT_SECONDS, _READ_SECONDS = 20, 60
_PAGE = 1000  # keys a request


class ObjectStore:
    is_written_in_place = False  # an object appears whole or not at all

    def __init__(self, settings: SourceSettings, secrets: Mapping[str, str]):
        url = urlsplit(settings.url)
        prefix = unquote(url.path).strip("/")
        self._name, self._bucket = settings.name, url.netloc
        self._prefix = f"{prefix}/" if prefix else ""
        self._files = s3fs.S3FileSystem(
            key=secrets["access_key_variable"],
            secret=secrets["secret_key_variable"],
            endpoint_url=settings.endpoint,
            client_kwargs={"region_name": settings.region} if settings.region else {},
            config_kwargs={
                "connect_timeout": _CONNECT_SECONDS,
                "read_timeout": _READ_SECONDS,
                "retries": {"total_max_attempts": 1},  # sources tries again itself, and says so
            },
            use_listings_cache=False,
            skip_instance_cache=True,
        )
        self._files.retries = 1

    def files(self) -> Iterator[RemoteFile]:
        more: dict[str, str] = {}
        while True:
            with self._watched():
                page = self._files.call_s3(
                    "list_objects_v2", Bucket=self._bucket, Prefix=self._prefix, MaxKeys=_PAGE, **more
                )
            for entry in page.get("Contents", ()):
                below = entry["Key"].removeprefix(self._prefix)
                if below and not below.endswith("/"):  # some programs mark a folder by an empty object
                    yield _remote_file(tuple(below.split("/")), entry["Size"], entry["LastModified"], entry["ETag"])
            if not page.get("IsTruncated"):
                return
            more = {"ContinuationToken": page["NextContinuationToken"]}

    def look(self, file: RemoteFile) -> RemoteFile:
        with self._watched():
            found = self._files.call_s3("head_object", Bucket=self._bucket, Key=self._prefix + file.path)
        return _remote_file(file.parts, found["ContentLength"], found["LastModified"], found["ETag"])

    def open(self, file: RemoteFile) -> Any:
        with self._watched():
            stream = self._files.open(
                f"{self._bucket}/{self._prefix}{file.path}", "rb", block_size=8 << 20, cache_type="readahead"
            )
        return Watched(stream, self._watched)

    def close(self) -> None:
        pass  # s3fs closes its session with the last reference to it

    @contextmanager
    def _watched(self) -> Iterator[None]:
        try:
            yield
        except (FileNotFoundError, PermissionError):
            raise
        except NoCredentialsError as error:
            raise OutOfReach(self._name, "no credentials") from error
        except ClientError as error:
            raise Interrupted(f"the server answered {_status(error)}") from error
        except (BotoCoreError, aiohttp.ClientError, OSError) as error:
            raise Interrupted(f"no connection ({type(error).__name__})") from error


def _remote_file(parts: tuple[str, ...], size: int, changed_at: datetime, tag: str) -> RemoteFile:
    # A listing may give fractions of a second, a look at the object never does.
    return RemoteFile(parts, FILE, size, int(changed_at.timestamp()), tag.strip('"'))


def _status(error: ClientError) -> str:
    return str(error.response.get("ResponseMetadata", {}).get("HTTPStatusCode", "an error"))
