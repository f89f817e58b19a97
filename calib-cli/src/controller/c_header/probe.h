static const uint16_t @id@_counts[@ID@_KNOTS] OVENDRY_FLASH = {
@counts@
};
static const int16_t @id@_thetas[@ID@_KNOTS] OVENDRY_FLASH = {
@thetas@
};
static const uint16_t @id@_uncertainties[@ID@_KNOTS] OVENDRY_FLASH = {
@uncertainties@
};

/* The count at the reference temperature in sixteenths, or a fault. */
static inline int32_t @id@_corrected(uint16_t count, int16_t temperature_centi)
{
    int32_t sixteenths = (int32_t)count * 16;

@checks@
    if (sixteenths < @ID@_DOMAIN_LOW) {
        return OVENDRY_FAULT_COUNT_BELOW_DOMAIN;
    }
    if (sixteenths > @ID@_DOMAIN_HIGH) {
        return OVENDRY_FAULT_COUNT_ABOVE_DOMAIN;
    }
    return sixteenths;
}

/* theta_v x 10 000 of a reading, or a fault. */
static inline int16_t @id@_theta_v_e4(uint16_t count, int16_t temperature_centi)
{
    const int32_t corrected = @id@_corrected(count, temperature_centi);

    if (corrected < 0) {
        return (int16_t)corrected;
    }
    return ovendry_interpolate_v1(@id@_counts, @id@_thetas, (uint8_t)@ID@_KNOTS, corrected);
}

/* Its expanded uncertainty (95 %) x 10 000, or a fault. */
static inline int16_t @id@_uncertainty_e4(uint16_t count, int16_t temperature_centi)
{
    const int32_t corrected = @id@_corrected(count, temperature_centi);
    uint8_t upper;
    int16_t below;
    int16_t above;

    if (corrected < 0) {
        return (int16_t)corrected;
    }
    upper = ovendry_upper_knot_v1(@id@_counts, (uint8_t)@ID@_KNOTS, corrected);
    below = (int16_t)OVENDRY_FLASH_WORD(&@id@_uncertainties[upper - 1u]);
    above = (int16_t)OVENDRY_FLASH_WORD(&@id@_uncertainties[upper]);
    return (below > above) ? below : above;
}

/* The CRC-32 of every number above as this controller holds it; optional. */
static inline uint32_t @id@_computed_crc32(void)
{
    static const uint32_t words[22] OVENDRY_FLASH = {
        (uint32_t)@ID@_VERSION,
        (uint32_t)@ID@_ADC_BITS,
        (uint32_t)@ID@_COUNTS_FALL_WHEN_WETTER,
        (uint32_t)@ID@_DOMAIN_LOW,
        (uint32_t)@ID@_DOMAIN_HIGH,
        (uint32_t)@ID@_TEMPERATURE_TERM,
        (uint32_t)@ID@_REFERENCE_CENTI,
        (uint32_t)@ID@_LOWEST_CENTI,
        (uint32_t)@ID@_HIGHEST_CENTI,
        (uint32_t)@ID@_COEFFICIENT,
        (uint32_t)@ID@_DIVISOR,
        (uint32_t)@ID@_MAX_ERROR_E4,
        (uint32_t)@ID@_REFILL_E4,
        (uint32_t)@ID@_STOP_E4,
        (uint32_t)@ID@_REFILL_COUNT,
        (uint32_t)@ID@_STOP_COUNT,
        (uint32_t)@ID@_MINIMUM_ON_S,
        (uint32_t)@ID@_MINIMUM_OFF_S,
        (uint32_t)@ID@_MAXIMUM_ON_S,
        (uint32_t)@ID@_CALIBRATED_ON,
        (uint32_t)@ID@_RECHECK_BY,
        (uint32_t)@ID@_KNOTS
    };
    uint32_t crc = (uint32_t)0xFFFFFFFFUL;
    uint8_t i;

    for (i = 0u; i < 22u; i = (uint8_t)(i + 1u)) {
        crc = ovendry_crc32_v1(crc, (uint32_t)OVENDRY_FLASH_DWORD(&words[i]));
    }
    for (i = 0u; i < (uint8_t)@ID@_KNOTS; i = (uint8_t)(i + 1u)) {
        crc = ovendry_crc32_v1(crc, (uint32_t)OVENDRY_FLASH_WORD(&@id@_counts[i]));
        crc = ovendry_crc32_v1(crc, (uint32_t)(int16_t)OVENDRY_FLASH_WORD(&@id@_thetas[i]));
        crc = ovendry_crc32_v1(crc, (uint32_t)OVENDRY_FLASH_WORD(&@id@_uncertainties[i]));
    }
    return crc ^ (uint32_t)0xFFFFFFFFUL;
}

/* Nonzero if the numbers are those exported; optional, at start-up. */
static inline uint8_t @id@_is_sound(void)
{
    return (uint8_t)(@id@_computed_crc32() == @ID@_TABLE_CRC32);
}

#endif
