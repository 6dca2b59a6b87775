from .classroom import Classroom as Classroom
from .credentials import PASSPHRASE_LENGTH as PASSPHRASE_LENGTH
from .credentials import codes_in as codes_in
from .pupil_erasure import erase_pupil as erase_pupil
