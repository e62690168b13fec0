//! Requests and answers of the application protocol: reading registers, and
//! nothing else.

use std::fmt;

/// Most registers that one request may ask for (Modbus application protocol
/// V1.1b3, sections 6.3 and 6.4).
pub const MOST_REGISTERS: u16 = 125;

/// Bytes of a request to read registers.
pub(super) const REQUEST_LEN: usize = 5;

/// Set in the function of an answer that is an exception (V1.1b3, section 7).
const EXCEPTION: u8 = 0x80;

/// Which of a slave's two tables of registers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Table {
    /// Registers that could also be written: function 03.
    Holding,
    /// Registers that can only be read: function 04.
    Input,
}

impl Table {
    /// The code of the function that reads it.
    pub const fn function(self) -> u8 {
        match self {
            Table::Holding => 0x03,
            Table::Input => 0x04,
        }
    }

    /// The name in settings and messages.
    pub const fn name(self) -> &'static str {
        match self {
            Table::Holding => "holding",
            Table::Input => "input",
        }
    }
}

/// A request to read neighbouring registers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Request {
    table: Table,
    first: u16,
    count: u16,
}

/// Why registers cannot be asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error(
    "{count} registers from {first} on cannot be read at once; at most {MOST_REGISTERS}, and none beyond 65535"
)]
pub struct RequestError {
    /// Address of the first one.
    pub first: u16,
    /// How many.
    pub count: u16,
}

impl Request {
    /// Asks for `count` registers (1 to 125) from the address `first` on, as it
    /// goes over the wire: the first register is 0.
    ///
    /// # Errors
    /// When there are none or too many, or the last one is beyond 65535.
    pub fn new(table: Table, first: u16, count: u16) -> Result<Self, RequestError> {
        let beyond = u32::from(first) + u32::from(count) > 0x1_0000;
        if count == 0 || count > MOST_REGISTERS || beyond {
            return Err(RequestError { first, count });
        }
        Ok(Request {
            table,
            first,
            count,
        })
    }

    /// Which table is asked for.
    pub const fn table(self) -> Table {
        self.table
    }

    /// Address of the first register.
    pub const fn first(self) -> u16 {
        self.first
    }

    /// How many registers.
    pub const fn count(self) -> u16 {
        self.count
    }

    /// The request as it goes over the wire.
    pub fn encode(self) -> [u8; REQUEST_LEN] {
        let [first, count] = [self.first, self.count].map(u16::to_be_bytes);
        [
            self.table.function(),
            first[0],
            first[1],
            count[0],
            count[1],
        ]
    }

    /// Bytes of an answer that holds the registers.
    pub const fn answer_len(self) -> usize {
        2 + 2 * self.count as usize
    }

    /// How many bytes the answer has that begins so; `None` while it is too
    /// short to say.
    ///
    /// # Errors
    /// When it cannot be the beginning of an answer to this request.
    pub fn expects(self, begun: &[u8]) -> Result<Option<usize>, AnswerError> {
        let Some(&function) = begun.first() else {
            return Ok(None);
        };
        let asked = self.table.function();
        if function == asked | EXCEPTION {
            return Ok(Some(2));
        }
        if function != asked {
            return Err(AnswerError::Function { asked, function });
        }
        let bytes = (2 * self.count) as u8;
        match begun.get(1) {
            Some(&found) if found != bytes => Err(AnswerError::ByteCount {
                asked: bytes,
                found,
            }),
            Some(_) => Ok(Some(self.answer_len())),
            None => Ok(None),
        }
    }

    /// Reads the answer to this request.
    ///
    /// # Errors
    /// When it is not one.
    pub fn decode(self, answer: &[u8]) -> Result<Answer, AnswerError> {
        if self.expects(answer)? != Some(answer.len()) {
            return Err(AnswerError::Length(answer.len()));
        }
        if answer[0] & EXCEPTION != 0 {
            return Ok(Answer::Exception(Exception(answer[1])));
        }
        let (pairs, _) = answer[2..].as_chunks();
        let registers = pairs.iter().map(|pair| u16::from_be_bytes(*pair));
        Ok(Answer::Registers(registers.collect()))
    }
}

/// What a slave says to a request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Answer {
    /// The registers, as many as were asked for.
    Registers(Vec<u16>),
    /// It will not or cannot; this is an answer all the same.
    Exception(Exception),
}

/// Why a slave refuses a request: its code (V1.1b3, section 7).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Exception(pub u8);

impl fmt::Display for Exception {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let words = match self.0 {
            0x01 => "illegal function: try registers = \"input\" or \"holding\", the other one",
            0x02 => "illegal data address: it has no such register; compare with its manual",
            0x03 => "illegal data value: it does not give so many registers at once",
            0x04 => "device failure",
            0x05 => "acknowledge: it needs more time",
            0x06 => "device busy",
            0x08 => "memory parity error",
            0x0A => "gateway path unavailable: look at the gateway's settings",
            0x0B => "gateway target failed to respond: look at the device behind the gateway",
            _ => "a code that the standard does not name",
        };
        write!(f, "exception {:02}, {words}", self.0)
    }
}

/// Why bytes are not the answer to a request.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum AnswerError {
    /// It answers another function.
    #[error("it answers function {function}, asked was {asked}")]
    Function {
        /// The function asked for.
        asked: u8,
        /// The function answered.
        function: u8,
    },
    /// It holds another number of bytes.
    #[error("it holds {found} bytes of registers, asked were {asked}")]
    ByteCount {
        /// Bytes of the registers asked for.
        asked: u8,
        /// Bytes that it says it holds.
        found: u8,
    },
    /// It is not as long as it says.
    #[error("its length of {0} bytes is not what it says itself")]
    Length(usize),
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_request_of_the_standard_and_its_answer() {
        // V1.1b3, section 6.3: registers 108 to 110 hold 555, 0 and 100.
        let request = Request::new(Table::Holding, 0x6B, 3).unwrap();
        assert_eq!(request.encode(), [0x03, 0x00, 0x6B, 0x00, 0x03]);
        let answer = [0x03, 0x06, 0x02, 0x2B, 0x00, 0x00, 0x00, 0x64];
        assert_eq!(
            request.decode(&answer),
            Ok(Answer::Registers(vec![555, 0, 100]))
        );
        // V1.1b3, section 6.4: register 9 holds 10.
        let request = Request::new(Table::Input, 8, 1).unwrap();
        assert_eq!(request.encode(), [0x04, 0x00, 0x08, 0x00, 0x01]);
        assert_eq!(
            request.decode(&[0x04, 0x02, 0x00, 0x0A]),
            Ok(Answer::Registers(vec![10]))
        );
    }

    #[test]
    fn an_exception_is_an_answer() {
        let request = Request::new(Table::Input, 8, 1).unwrap();
        assert_eq!(
            request.decode(&[0x84, 0x02]),
            Ok(Answer::Exception(Exception(2)))
        );
        let told = Exception(2).to_string();
        assert!(told.contains("exception 02, illegal data address"));
        assert!(Exception(0x7F).to_string().contains("does not name"));
    }

    #[test]
    fn what_is_no_answer_is_told_apart() {
        let request = Request::new(Table::Input, 8, 2).unwrap();
        let function = AnswerError::Function {
            asked: 4,
            function: 3,
        };
        assert_eq!(request.decode(&[3, 4, 0, 0, 0, 0]), Err(function));
        assert_eq!(request.decode(&[0x83, 2]), {
            let function = 0x83;
            Err(AnswerError::Function { asked: 4, function })
        });
        let bytes = AnswerError::ByteCount { asked: 4, found: 2 };
        assert_eq!(request.decode(&[4, 2, 0, 0]), Err(bytes));
        assert_eq!(
            request.decode(&[4, 4, 0, 0, 0]),
            Err(AnswerError::Length(5))
        );
        assert_eq!(request.decode(&[0x84, 2, 0]), Err(AnswerError::Length(3)));
        assert_eq!(request.decode(&[]), Err(AnswerError::Length(0)));
    }

    #[test]
    fn requests_stay_within_the_standard() {
        assert!(Request::new(Table::Input, 0, 0).is_err());
        assert!(Request::new(Table::Input, 0, 126).is_err());
        assert!(Request::new(Table::Input, 65535, 2).is_err());
        assert!(Request::new(Table::Input, 65411, 125).is_ok());
    }

    proptest! {
        #[test]
        fn no_bytes_panic(
            first: u16,
            count in 1..=125_u16,
            bytes in prop::collection::vec(any::<u8>(), 0..260),
        ) {
            if let Ok(request) = Request::new(Table::Holding, first, count)
                && let Ok(Answer::Registers(registers)) = request.decode(&bytes)
            {
                prop_assert_eq!(registers.len(), usize::from(count));
            }
        }

        #[test]
        fn registers_come_out_as_they_went_in(
            registers in prop::collection::vec(any::<u16>(), 1..=125),
        ) {
            let request = Request::new(Table::Input, 7, registers.len() as u16).unwrap();
            let mut answer = vec![4, (2 * registers.len()) as u8];
            answer.extend(registers.iter().flat_map(|one| one.to_be_bytes()));
            for end in 0..answer.len() {
                prop_assert!(request.decode(&answer[..end]).is_err());
            }
            prop_assert_eq!(request.decode(&answer), Ok(Answer::Registers(registers)));
        }
    }
}
