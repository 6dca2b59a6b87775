from .homework_page import LARGEST_PAGE as LARGEST_PAGE
from .homework_page import Homework as Homework
from .homework_page import build_homework as build_homework
from .page_assets import SHARED as SHARED
