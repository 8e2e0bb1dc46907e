"""Where sites send files besides the inbox: an S3-compatible store or an SFTP server, which is only ever read."""

from pipeline.intake.sources.listing import Listing, listed
from pipeline.intake.sources.remote_file import OutOfReach
from pipeline.intake.sources.source import Source, opened

__all__ = ["Listing", "OutOfReach", "Source", "listed", "opened"]
