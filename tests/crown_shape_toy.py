"""A crown shape more, registered in its one place, then the command line as ever."""

import sys

from screenplan.ground import crown_shapes

#: The upper half of an ellipsoid: s(u)^2 = 1 - (1 - u)^2.
DOME = crown_shapes.CrownShape("dome", (0.0, 2.0, -1.0))

if __name__ == "__main__":
    crown_shapes.SHAPES[DOME.word] = DOME

    from screenplan.commandline.main import main

    main(sys.argv[1:])
