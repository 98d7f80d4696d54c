"""The annotated recordings, as the library knows them."""

from infantmon.labelled.database import Database, Labelled, SetApart
from infantmon.labelled.known import database, databases
from infantmon.labelled.places import recordings_folder

__all__ = ["Database", "Labelled", "SetApart", "database", "databases", "recordings_folder"]
