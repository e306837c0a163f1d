"""The built-in scenario, which starts at photographs that it draws itself."""
