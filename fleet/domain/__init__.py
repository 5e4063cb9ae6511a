"""Terms and rules of the trade: enumerations, frozen records, arithmetic without I/O."""
