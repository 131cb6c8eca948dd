//! Cyclic redundancy checks by their catalogue names.
//!
//! The parameters come from the `crc` crate, which carries the public catalogue; here are only names.

use crc::{Algorithm, Crc};

/// One entry of the catalogue, by the width of the word that computes it.
#[derive(Clone, Copy)]
pub(crate) enum Entry {
    /// Up to 8 bits.
    Eight(&'static Algorithm<u8>),
    /// 9 to 16 bits.
    Sixteen(&'static Algorithm<u16>),
    /// 17 to 32 bits.
    ThirtyTwo(&'static Algorithm<u32>),
    /// 33 to 64 bits.
    SixtyFour(&'static Algorithm<u64>),
}

/// A check ready to compute.
#[derive(Clone)]
pub(crate) struct Cyclic {
    /// Its catalogue name.
    pub(crate) name: &'static str,
    /// How many bits it has.
    pub(crate) bits: u8,
    table: Table,
}

#[derive(Clone)]
enum Table {
    Eight(Box<Crc<u8>>),
    Sixteen(Box<Crc<u16>>),
    ThirtyTwo(Box<Crc<u32>>),
    SixtyFour(Box<Crc<u64>>),
}

impl Entry {
    /// How many bits the check has.
    pub(crate) fn bits(self) -> u8 {
        match self {
            Entry::Eight(a) => a.width,
            Entry::Sixteen(a) => a.width,
            Entry::ThirtyTwo(a) => a.width,
            Entry::SixtyFour(a) => a.width,
        }
    }
}

impl Cyclic {
    /// Builds the table of an entry.
    pub(crate) fn new((name, entry): (&'static str, Entry)) -> Self {
        let table = match entry {
            Entry::Eight(a) => Table::Eight(Box::new(Crc::<u8>::new(a))),
            Entry::Sixteen(a) => Table::Sixteen(Box::new(Crc::<u16>::new(a))),
            Entry::ThirtyTwo(a) => Table::ThirtyTwo(Box::new(Crc::<u32>::new(a))),
            Entry::SixtyFour(a) => Table::SixtyFour(Box::new(Crc::<u64>::new(a))),
        };
        Cyclic { name, bits: entry.bits(), table }
    }

    /// The check over `bytes`.
    pub(crate) fn over(&self, bytes: &[u8]) -> u64 {
        match &self.table {
            Table::Eight(crc) => u64::from(crc.checksum(bytes)),
            Table::Sixteen(crc) => u64::from(crc.checksum(bytes)),
            Table::ThirtyTwo(crc) => u64::from(crc.checksum(bytes)),
            Table::SixtyFour(crc) => crc.checksum(bytes),
        }
    }
}

impl std::fmt::Debug for Cyclic {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name)
    }
}

/// The entry of that name; case does not count.
pub(crate) fn entry(name: &str) -> Option<(&'static str, Entry)> {
    CATALOGUE.iter().find(|(known, _)| known.eq_ignore_ascii_case(name)).copied()
}

/// Names and parameters.
#[rustfmt::skip]
pub(crate) const CATALOGUE: &[(&str, Entry)] = &[
    ("CRC-3/GSM", Entry::Eight(&crc::CRC_3_GSM)),
    ("CRC-3/ROHC", Entry::Eight(&crc::CRC_3_ROHC)),
    ("CRC-4/G-704", Entry::Eight(&crc::CRC_4_G_704)),
    ("CRC-4/INTERLAKEN", Entry::Eight(&crc::CRC_4_INTERLAKEN)),
    ("CRC-5/EPC-C1G2", Entry::Eight(&crc::CRC_5_EPC_C1G2)),
    ("CRC-5/G-704", Entry::Eight(&crc::CRC_5_G_704)),
    ("CRC-5/USB", Entry::Eight(&crc::CRC_5_USB)),
    ("CRC-6/CDMA2000-A", Entry::Eight(&crc::CRC_6_CDMA2000_A)),
    ("CRC-6/CDMA2000-B", Entry::Eight(&crc::CRC_6_CDMA2000_B)),
    ("CRC-6/DARC", Entry::Eight(&crc::CRC_6_DARC)),
    ("CRC-6/G-704", Entry::Eight(&crc::CRC_6_G_704)),
    ("CRC-6/GSM", Entry::Eight(&crc::CRC_6_GSM)),
    ("CRC-7/MMC", Entry::Eight(&crc::CRC_7_MMC)),
    ("CRC-7/ROHC", Entry::Eight(&crc::CRC_7_ROHC)),
    ("CRC-7/UMTS", Entry::Eight(&crc::CRC_7_UMTS)),
    ("CRC-8/AUTOSAR", Entry::Eight(&crc::CRC_8_AUTOSAR)),
    ("CRC-8/BLUETOOTH", Entry::Eight(&crc::CRC_8_BLUETOOTH)),
    ("CRC-8/CDMA2000", Entry::Eight(&crc::CRC_8_CDMA2000)),
    ("CRC-8/DARC", Entry::Eight(&crc::CRC_8_DARC)),
    ("CRC-8/DVB-S2", Entry::Eight(&crc::CRC_8_DVB_S2)),
    ("CRC-8/GSM-A", Entry::Eight(&crc::CRC_8_GSM_A)),
    ("CRC-8/GSM-B", Entry::Eight(&crc::CRC_8_GSM_B)),
    ("CRC-8/HITAG", Entry::Eight(&crc::CRC_8_HITAG)),
    ("CRC-8/I-432-1", Entry::Eight(&crc::CRC_8_I_432_1)),
    ("CRC-8/I-CODE", Entry::Eight(&crc::CRC_8_I_CODE)),
    ("CRC-8/LTE", Entry::Eight(&crc::CRC_8_LTE)),
    ("CRC-8/MAXIM-DOW", Entry::Eight(&crc::CRC_8_MAXIM_DOW)),
    ("CRC-8/MIFARE-MAD", Entry::Eight(&crc::CRC_8_MIFARE_MAD)),
    ("CRC-8/NRSC-5", Entry::Eight(&crc::CRC_8_NRSC_5)),
    ("CRC-8/OPENSAFETY", Entry::Eight(&crc::CRC_8_OPENSAFETY)),
    ("CRC-8/ROHC", Entry::Eight(&crc::CRC_8_ROHC)),
    ("CRC-8/SAE-J1850", Entry::Eight(&crc::CRC_8_SAE_J1850)),
    ("CRC-8/SMBUS", Entry::Eight(&crc::CRC_8_SMBUS)),
    ("CRC-8/TECH-3250", Entry::Eight(&crc::CRC_8_TECH_3250)),
    ("CRC-8/WCDMA", Entry::Eight(&crc::CRC_8_WCDMA)),
    ("CRC-10/ATM", Entry::Sixteen(&crc::CRC_10_ATM)),
    ("CRC-10/CDMA2000", Entry::Sixteen(&crc::CRC_10_CDMA2000)),
    ("CRC-10/GSM", Entry::Sixteen(&crc::CRC_10_GSM)),
    ("CRC-11/FLEXRAY", Entry::Sixteen(&crc::CRC_11_FLEXRAY)),
    ("CRC-11/UMTS", Entry::Sixteen(&crc::CRC_11_UMTS)),
    ("CRC-12/CDMA2000", Entry::Sixteen(&crc::CRC_12_CDMA2000)),
    ("CRC-12/DECT", Entry::Sixteen(&crc::CRC_12_DECT)),
    ("CRC-12/GSM", Entry::Sixteen(&crc::CRC_12_GSM)),
    ("CRC-12/UMTS", Entry::Sixteen(&crc::CRC_12_UMTS)),
    ("CRC-13/BBC", Entry::Sixteen(&crc::CRC_13_BBC)),
    ("CRC-14/DARC", Entry::Sixteen(&crc::CRC_14_DARC)),
    ("CRC-14/GSM", Entry::Sixteen(&crc::CRC_14_GSM)),
    ("CRC-15/CAN", Entry::Sixteen(&crc::CRC_15_CAN)),
    ("CRC-15/MPT1327", Entry::Sixteen(&crc::CRC_15_MPT1327)),
    ("CRC-16/ARC", Entry::Sixteen(&crc::CRC_16_ARC)),
    ("CRC-16/CDMA2000", Entry::Sixteen(&crc::CRC_16_CDMA2000)),
    ("CRC-16/CMS", Entry::Sixteen(&crc::CRC_16_CMS)),
    ("CRC-16/DDS-110", Entry::Sixteen(&crc::CRC_16_DDS_110)),
    ("CRC-16/DECT-R", Entry::Sixteen(&crc::CRC_16_DECT_R)),
    ("CRC-16/DECT-X", Entry::Sixteen(&crc::CRC_16_DECT_X)),
    ("CRC-16/DNP", Entry::Sixteen(&crc::CRC_16_DNP)),
    ("CRC-16/EN-13757", Entry::Sixteen(&crc::CRC_16_EN_13757)),
    ("CRC-16/GENIBUS", Entry::Sixteen(&crc::CRC_16_GENIBUS)),
    ("CRC-16/GSM", Entry::Sixteen(&crc::CRC_16_GSM)),
    ("CRC-16/IBM-3740", Entry::Sixteen(&crc::CRC_16_IBM_3740)),
    ("CRC-16/IBM-SDLC", Entry::Sixteen(&crc::CRC_16_IBM_SDLC)),
    ("CRC-16/ISO-IEC-14443-3-A", Entry::Sixteen(&crc::CRC_16_ISO_IEC_14443_3_A)),
    ("CRC-16/KERMIT", Entry::Sixteen(&crc::CRC_16_KERMIT)),
    ("CRC-16/LJ1200", Entry::Sixteen(&crc::CRC_16_LJ1200)),
    ("CRC-16/M17", Entry::Sixteen(&crc::CRC_16_M17)),
    ("CRC-16/MAXIM-DOW", Entry::Sixteen(&crc::CRC_16_MAXIM_DOW)),
    ("CRC-16/MCRF4XX", Entry::Sixteen(&crc::CRC_16_MCRF4XX)),
    ("CRC-16/MODBUS", Entry::Sixteen(&crc::CRC_16_MODBUS)),
    ("CRC-16/NRSC-5", Entry::Sixteen(&crc::CRC_16_NRSC_5)),
    ("CRC-16/OPENSAFETY-A", Entry::Sixteen(&crc::CRC_16_OPENSAFETY_A)),
    ("CRC-16/OPENSAFETY-B", Entry::Sixteen(&crc::CRC_16_OPENSAFETY_B)),
    ("CRC-16/PROFIBUS", Entry::Sixteen(&crc::CRC_16_PROFIBUS)),
    ("CRC-16/RIELLO", Entry::Sixteen(&crc::CRC_16_RIELLO)),
    ("CRC-16/SPI-FUJITSU", Entry::Sixteen(&crc::CRC_16_SPI_FUJITSU)),
    ("CRC-16/T10-DIF", Entry::Sixteen(&crc::CRC_16_T10_DIF)),
    ("CRC-16/TELEDISK", Entry::Sixteen(&crc::CRC_16_TELEDISK)),
    ("CRC-16/TMS37157", Entry::Sixteen(&crc::CRC_16_TMS37157)),
    ("CRC-16/UMTS", Entry::Sixteen(&crc::CRC_16_UMTS)),
    ("CRC-16/USB", Entry::Sixteen(&crc::CRC_16_USB)),
    ("CRC-16/XMODEM", Entry::Sixteen(&crc::CRC_16_XMODEM)),
    ("CRC-17/CAN-FD", Entry::ThirtyTwo(&crc::CRC_17_CAN_FD)),
    ("CRC-21/CAN-FD", Entry::ThirtyTwo(&crc::CRC_21_CAN_FD)),
    ("CRC-24/BLE", Entry::ThirtyTwo(&crc::CRC_24_BLE)),
    ("CRC-24/FLEXRAY-A", Entry::ThirtyTwo(&crc::CRC_24_FLEXRAY_A)),
    ("CRC-24/FLEXRAY-B", Entry::ThirtyTwo(&crc::CRC_24_FLEXRAY_B)),
    ("CRC-24/INTERLAKEN", Entry::ThirtyTwo(&crc::CRC_24_INTERLAKEN)),
    ("CRC-24/LTE-A", Entry::ThirtyTwo(&crc::CRC_24_LTE_A)),
    ("CRC-24/LTE-B", Entry::ThirtyTwo(&crc::CRC_24_LTE_B)),
    ("CRC-24/OPENPGP", Entry::ThirtyTwo(&crc::CRC_24_OPENPGP)),
    ("CRC-24/OS-9", Entry::ThirtyTwo(&crc::CRC_24_OS_9)),
    ("CRC-30/CDMA", Entry::ThirtyTwo(&crc::CRC_30_CDMA)),
    ("CRC-31/PHILIPS", Entry::ThirtyTwo(&crc::CRC_31_PHILIPS)),
    ("CRC-32/AIXM", Entry::ThirtyTwo(&crc::CRC_32_AIXM)),
    ("CRC-32/AUTOSAR", Entry::ThirtyTwo(&crc::CRC_32_AUTOSAR)),
    ("CRC-32/BASE91-D", Entry::ThirtyTwo(&crc::CRC_32_BASE91_D)),
    ("CRC-32/BZIP2", Entry::ThirtyTwo(&crc::CRC_32_BZIP2)),
    ("CRC-32/CD-ROM-EDC", Entry::ThirtyTwo(&crc::CRC_32_CD_ROM_EDC)),
    ("CRC-32/CKSUM", Entry::ThirtyTwo(&crc::CRC_32_CKSUM)),
    ("CRC-32/ISCSI", Entry::ThirtyTwo(&crc::CRC_32_ISCSI)),
    ("CRC-32/ISO-HDLC", Entry::ThirtyTwo(&crc::CRC_32_ISO_HDLC)),
    ("CRC-32/JAMCRC", Entry::ThirtyTwo(&crc::CRC_32_JAMCRC)),
    ("CRC-32/MEF", Entry::ThirtyTwo(&crc::CRC_32_MEF)),
    ("CRC-32/MPEG-2", Entry::ThirtyTwo(&crc::CRC_32_MPEG_2)),
    ("CRC-32/XFER", Entry::ThirtyTwo(&crc::CRC_32_XFER)),
    ("CRC-40/GSM", Entry::SixtyFour(&crc::CRC_40_GSM)),
    ("CRC-64/ECMA-182", Entry::SixtyFour(&crc::CRC_64_ECMA_182)),
    ("CRC-64/GO-ISO", Entry::SixtyFour(&crc::CRC_64_GO_ISO)),
    ("CRC-64/MS", Entry::SixtyFour(&crc::CRC_64_MS)),
    ("CRC-64/NVME", Entry::SixtyFour(&crc::CRC_64_NVME)),
    ("CRC-64/REDIS", Entry::SixtyFour(&crc::CRC_64_REDIS)),
    ("CRC-64/WE", Entry::SixtyFour(&crc::CRC_64_WE)),
    ("CRC-64/XZ", Entry::SixtyFour(&crc::CRC_64_XZ)),
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_entry_gives_its_own_check_value() {
        // The catalogue states for each entry the check over the digits 1 to 9.
        for (name, entry) in CATALOGUE {
            let stated = match *entry {
                Entry::Eight(a) => u64::from(a.check),
                Entry::Sixteen(a) => u64::from(a.check),
                Entry::ThirtyTwo(a) => u64::from(a.check),
                Entry::SixtyFour(a) => a.check,
            };
            assert_eq!(Cyclic::new((name, *entry)).over(b"123456789"), stated, "{name}");
        }
        // Two of them from memory, so that the table is held against something outside it.
        assert_eq!(Cyclic::new(self::entry("crc-16/arc").unwrap()).over(b"123456789"), 0xBB3D);
        assert_eq!(Cyclic::new(self::entry("CRC-32/ISO-HDLC").unwrap()).over(b"123456789"), 0xCBF4_3926);
    }
}
