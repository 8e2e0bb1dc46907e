"""[[source]]: a place besides the inbox that files are fetched from."""

from __future__ import annotations

from urllib.parse import urlsplit

from pydantic import model_validator

from pipeline.programme.section import Section, SiteId, VariableName

_KEYS_OF_S3 = {"endpoint", "region", "access_key_variable", "secret_key_variable"}
_KEYS_OF_SFTP = {"password_variable", "key_file", "known_hosts"}


class SourceSettings(Section):
    """A place besides the inbox that files are read from. Secrets stand in environment variables, named here."""

    name: SiteId  # before the names of its files, in the ledger and in messages
    url: str  # s3://bucket/prefix, sftp://user@host/folder
    site: SiteId | None = None  # whose files lie there; else it holds a folder a site
    endpoint: str | None = None  # s3: of the store, where it is not the usual one
    region: str | None = None
    access_key_variable: VariableName | None = None
    secret_key_variable: VariableName | None = None
    password_variable: VariableName | None = None  # sftp: of the user; with key_file, what opens the key
    key_file: str | None = None
    known_hosts: str = "~/.ssh/known_hosts"

    @model_validator(mode="after")
    def _it_can_be_asked(self) -> SourceSettings:
        url = urlsplit(self.url)
        if url.scheme not in ("s3", "sftp") or not url.hostname or url.query or url.fragment:
            raise ValueError("a url such as s3://bucket/prefix or sftp://user@host/folder")
        if url.password is not None or (url.scheme == "s3" and url.username is not None):
            raise ValueError("no password stands in a url: name the environment variable that holds it")
        if ".." in url.path.split("/"):
            raise ValueError("no .. in a url")
        of_the_other = _KEYS_OF_SFTP if url.scheme == "s3" else _KEYS_OF_S3
        wrong = sorted(of_the_other & self.model_fields_set)
        if wrong:
            raise ValueError(f"{wrong[0]} means nothing for {url.scheme}")
        if url.scheme == "s3":
            if not (self.access_key_variable and self.secret_key_variable):
                raise ValueError("s3 goes with access_key_variable and secret_key_variable")
            if self.endpoint is not None:
                place = urlsplit(self.endpoint)
                is_here = place.hostname in ("127.0.0.1", "::1", "localhost")
                if place.scheme != "https" and not (place.scheme == "http" and is_here):
                    raise ValueError("an endpoint of https://…; http only for this machine itself")
        elif not url.username or not (self.key_file or self.password_variable):
            raise ValueError("sftp goes with a user in the url, and with key_file or password_variable")
        return self
