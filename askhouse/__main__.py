"""python -m askhouse"""

from askhouse.commands import main

main()
