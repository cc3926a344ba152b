"""What each command of the command line does; heavy parts are imported when first used."""
