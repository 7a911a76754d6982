"""Pages shipped with the package, since there is often no internet on site."""
