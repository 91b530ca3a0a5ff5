def main():
    from beltspring.sim import __doc__ as d; print("ok", d)
