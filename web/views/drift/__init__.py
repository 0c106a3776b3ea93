"""The drift pages: wanderers, models, analysers, gas, technicians, alerts."""
