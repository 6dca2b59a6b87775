from .paced_reader import PacedReader as PacedReader
from .practice_round import PracticeRound as PracticeRound
