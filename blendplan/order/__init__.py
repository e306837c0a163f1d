"""The order of colours: aims, constraints, exact search and honest bounds."""
