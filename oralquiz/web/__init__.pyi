from .classroom import Classroom as Classroom
from .credentials import PASSPHRASE_LENGTH as PASSPHRASE_LENGTH
