module evenstand

go 1.26.0
