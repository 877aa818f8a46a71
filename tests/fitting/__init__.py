"""The figures of ``screenplan/planting/measured.toml``, fitted again from open data.

``python -m tests.fitting PATH`` reads the data from a folder (they are not part of the project), fits, and
compares what it finds with the checked-in file; ``--write`` writes it.

    utd/TS3_Raw_tree_data.csv            McPherson, van Doorn and Peper 2016, Urban tree database,
                                         USDA Forest Service, doi 10.2737/RDS-2016-0005
    baad/brown1978_thuja_plicata.csv     Falster et al. 2015, Biomass and allometry database (CC0)
    baad/claveau2002_crowns.csv          the same
    fvs/carmean_1989_coefficients.csv    Carmean, Hahn and Jacobs 1989, GTR NC-128, as coded in the
                                         Forest Vegetation Simulator (public domain)
    fvs/open_grown_crown_width.csv       Ek 1974 and Krajicek et al. 1961, from the same program
    thuja_plicata_site_index.csv         Nigh 2000 and Kurucz 1985, as coded in bcgov/VDYP
    purves_2007_crown_profile.csv        Purves, Lichstein and Pacala 2007, as carried by fastfuels-core
"""
