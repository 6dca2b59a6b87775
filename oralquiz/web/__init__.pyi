from .classroom import Classroom as Classroom
from .credentials import PASSPHRASE_LENGTH as PASSPHRASE_LENGTH
from .spare_memory import few_heaps as few_heaps
